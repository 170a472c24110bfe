-- The shape of a part, by the hash of its file. What is stored was written anew from the triangles that
-- were read, in millimetres: nothing else of the file sent is kept.

create table shape (
    -- SHA-256 of the stored file.
    hash blob primary key check (length(hash) = 32),
    -- How it looks from three sides, as JSON; drawn when it was given.
    views text not null check (json_valid(views)),
    -- One of them, coarser, to stand beside the part's name.
    small text not null check (json_valid(small)),
    -- A binary STL file. Last, so that a list does not read through it.
    stl blob not null check (length(stl) between 134 and 16777216)
) strict;
create trigger shape_stays before update on shape
begin
    select raise(abort, 'a shape is not changed; give another');
end;
create trigger shape_kept before delete on shape
begin
    select raise(abort, 'a shape is not deleted; give another');
end;

-- Which part has which shape: the one given last counts, the others stay on record.
create table part_shape (
    journal_sequence integer primary key references journal (sequence),
    part_id blob not null references part (id),
    hash blob not null references shape (hash),
    -- As it was sent, cleaned: shown, never used to find or to judge anything.
    file_name text not null check (length(file_name) between 1 and 100),
    -- What its figures stood for.
    unit text not null check (unit in ('mm', 'cm', 'm', 'inch')),
    -- What was read of it, as JSON, with the machining allowance that was asked for.
    figures text not null check (json_valid(figures)),
    given_ms integer not null,
    given_by text not null check (length(given_by) between 1 and 80)
) strict;
create index part_shape_of_part on part_shape (part_id, journal_sequence);
create trigger part_shape_stays before update on part_shape
begin
    select raise(abort, 'which shape a part was given is not changed; give another');
end;
create trigger part_shape_kept before delete on part_shape
begin
    select raise(abort, 'which shape a part was given is not deleted; give another');
end;
