-- Keep-backs: powder or gas held for named machines. All of it is added to and never changed: more is held by a
-- further keep-back, less by giving up.

create table keep_back (
    id blob primary key check (length(id) = 16),
    number integer not null unique check (number >= 1),
    -- Either a powder, of any lot that may be sprayed, or the gas of a bank.
    powder_id blob references powder (id),
    bank_id blob references bank (id),
    milligrams integer not null check (milligrams > 0),
    reason text not null check (length(reason) between 1 and 400),
    said_by text not null check (length(said_by) between 1 and 80),
    said_ms integer not null,
    journal_sequence integer not null references journal (sequence),
    check ((powder_id is null) <> (bank_id is null))
) strict;

-- The machines for which it is held.
create table keep_back_asset (
    keep_back_id blob not null references keep_back (id),
    asset_id blob not null references asset (id),
    primary key (keep_back_id, asset_id)
) strict, without rowid;

-- What of it was given up; what it holds still is the rest.
create table keep_back_given_up (
    journal_sequence integer primary key references journal (sequence),
    keep_back_id blob not null references keep_back (id),
    milligrams integer not null check (milligrams > 0),
    reason text not null check (length(reason) between 1 and 400),
    given_up_by text not null check (length(given_up_by) between 1 and 80),
    given_up_ms integer not null
) strict;
create index keep_back_given_up_of on keep_back_given_up (keep_back_id, journal_sequence);

create trigger keep_back_stays before update on keep_back
begin
    select raise(abort, 'a keep-back is not changed; give it up, or hold more by a new one');
end;
create trigger keep_back_kept before delete on keep_back
begin
    select raise(abort, 'a keep-back is not deleted; give it up');
end;
create trigger keep_back_asset_stays before update on keep_back_asset
begin
    select raise(abort, 'a keep-back is not changed; give it up, or hold more by a new one');
end;
create trigger keep_back_asset_kept before delete on keep_back_asset
begin
    select raise(abort, 'a keep-back is not changed; give it up, or hold more by a new one');
end;
create trigger keep_back_given_up_stays before update on keep_back_given_up
begin
    select raise(abort, 'what was given up is not changed; hold it anew');
end;
create trigger keep_back_given_up_kept before delete on keep_back_given_up
begin
    select raise(abort, 'what was given up stays on record; hold it anew');
end;
create trigger keep_back_not_overdrawn before insert on keep_back_given_up
when (select coalesce(sum(milligrams), 0) from keep_back_given_up where keep_back_id = new.keep_back_id)
    + new.milligrams > (select milligrams from keep_back where id = new.keep_back_id)
begin
    select raise(abort, 'no more can be given up than is held');
end;
