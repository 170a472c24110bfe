-- How long operations took, so that they are planned as they go here.

-- Minutes of a build by its recipe's figures alone; null: as planned, from before this was told apart.
alter table build_plan add column reckoned_min integer check (reckoned_min > 0);

-- One time that an operation was done. It is the same operation in another revision while it is called the same.
create table operation_took (
    journal_sequence integer primary key references journal (sequence),
    recipe_code text not null,
    kind text not null,
    name text not null,
    reckoned_min integer not null check (reckoned_min > 0),
    -- Waits that have nothing to do with it left out.
    took_min integer not null check (took_min between 1 and 100000)
) strict;
create index operation_took_of on operation_took (recipe_code, kind, name, journal_sequence);
create trigger operation_took_stays before update on operation_took begin select raise(abort, 'how long it took stays on record'); end;
create trigger operation_took_kept before delete on operation_took begin select raise(abort, 'how long it took stays on record'); end;
