-- The catalogue as it is written here: all of a part and a recipe, who wrote what, plates and fixtures.

-- What parts are sprayed on and held by.
create table kit (
    id blob primary key check (length(id) = 16),
    code text not null unique check (length(code) between 1 and 40),
    name text not null check (length(name) between 1 and 80),
    -- A plate is used up, a fixture comes back.
    kind text not null check (kind in ('plate', 'fixture')),
    count integer not null check (count between 0 and 9999),
    version integer not null default 1 check (version > 0)
) strict;

alter table metal add column version integer not null default 1 check (version > 0);

-- Sprayed beyond the finished size, to be cut away.
alter table part add column allowance_um integer not null default 0 check (allowance_um between 0 and 50000);
-- Why it is no longer offered; null: it is.
alter table part add column retired_reason text check (length(retired_reason) between 1 and 500);
alter table part add column version integer not null default 1 check (version > 0);

-- No row for a part: nobody said which machines it fits.
create table part_asset (
    part_id blob not null references part (id),
    asset_id blob not null references asset (id),
    primary key (part_id, asset_id)
) strict, without rowid;

alter table recipe add column coupons text not null default '' check (length(coupons) <= 2000);
alter table recipe add column inspection text not null default '' check (length(inspection) <= 2000);
alter table recipe add column notes text not null default '' check (length(notes) <= 2000);
-- As its approver wrote them.
alter table recipe add column expected text not null default '' check (length(expected) <= 2000);
alter table recipe add column basis text not null default '' check (length(basis) <= 2000);
alter table recipe add column withdrawn_reason text check (length(withdrawn_reason) between 1 and 500);
alter table recipe add column version integer not null default 1 check (version > 0);

-- No row for a recipe: valid whatever its part is used for.
create table recipe_flag (
    recipe_id blob not null references recipe (id),
    flag text not null check (flag in ('form-only', 'guard', 'food-or-water', 'carries-load', 'can-injure', 'lifts',
        'holds-pressure', 'steers-or-brakes', 'explosive-area', 'unknown')),
    primary key (recipe_id, flag)
) strict, without rowid;

-- Everybody who wrote a line of a revision: none of them approves it.
create table recipe_author (
    recipe_id blob not null references recipe (id),
    person_id blob not null references person (id),
    primary key (recipe_id, person_id)
) strict, without rowid;

alter table recipe_operation add column plate_id blob references kit (id) check (plate_id is null or kind = 'spray');
alter table recipe_operation add column fixture_id blob references kit (id);
-- Position of the operation at whose end the fixture is free again.
alter table recipe_operation add column held_through integer
    check ((held_through is null) = (fixture_id is null) and held_through >= position);
-- Sent out for so many days, which are its time; `minutes` is then 1 and says nothing.
alter table recipe_operation add column away_days integer check (away_days is null
    or (away_days between 1 and 365 and kind <> 'spray' and station_id is null and crew = 0 and minutes = 1));
-- The furnace's cycle by its name.
alter table recipe_operation add column cycle text not null default '' check (length(cycle) <= 80);

-- The volume, pores included, from which `deposited_g` was worked out, if it was.
alter table recipe_spray add column volume_mm3 integer check (volume_mm3 > 0);
alter table recipe_spray add column porosity_permille integer
    check ((porosity_permille is null) = (volume_mm3 is null) and porosity_permille between 0 and 500);
-- How the nozzle goes over the part; null or empty: not told.
alter table recipe_spray add column nozzle text not null default '' check (length(nozzle) <= 80);
alter table recipe_spray add column standoff_um integer check (standoff_um between 1000 and 500000);
alter table recipe_spray add column traverse_mm_s integer check (traverse_mm_s between 1 and 5000);
alter table recipe_spray add column spacing_um integer check (spacing_um between 10 and 50000);
alter table recipe_spray add column preheat_c integer check (preheat_c between 20 and 900);
alter table recipe_spray add column passes integer check (passes between 1 and 100000);

create trigger recipe_operation_stays before update on recipe_operation
when (select state from recipe where id = old.recipe_id) <> 'draft'
begin
    select raise(abort, 'only a draft is changed; start a new revision');
end;
create trigger recipe_operation_kept before delete on recipe_operation
when (select state from recipe where id = old.recipe_id) <> 'draft'
begin
    select raise(abort, 'only a draft is changed; start a new revision');
end;
create trigger recipe_spray_stays before update on recipe_spray
when (select state from recipe where id = old.recipe_id) <> 'draft'
begin
    select raise(abort, 'only a draft is changed; start a new revision');
end;
create trigger recipe_spray_kept before delete on recipe_spray
when (select state from recipe where id = old.recipe_id) <> 'draft'
begin
    select raise(abort, 'only a draft is changed; start a new revision');
end;
create trigger recipe_kept before delete on recipe
begin
    select raise(abort, 'a revision is not deleted; withdraw it');
end;

-- Photos and papers hang on parts too: the same table with one word more in its check.
create table attached_now (
    id blob primary key check (length(id) = 16),
    subject_kind text not null check (subject_kind in ('request', 'lot', 'part')),
    -- Number of the request, or code of the lot or part.
    subject text not null check (length(subject) between 1 and 40),
    hash blob not null references attachment (hash),
    -- As it was sent, cleaned: shown, never used to find or to judge anything.
    file_name text not null check (length(file_name) between 1 and 100),
    caption text not null check (length(caption) <= 200),
    person_id blob not null references person (id),
    -- The name as it was then.
    added_by text not null check (length(added_by) between 1 and 60),
    added_ms integer not null,
    journal_sequence integer not null references journal (sequence),
    -- Taken off it stays on record; all four are set, once.
    off_reason text check (length(off_reason) between 1 and 200),
    off_by text check (length(off_by) between 1 and 60),
    off_ms integer,
    off_sequence integer references journal (sequence),
    check ((off_reason is null) = (off_by is null)),
    check ((off_reason is null) = (off_ms is null)),
    check ((off_reason is null) = (off_sequence is null))
) strict;
insert into attached_now
    (id, subject_kind, subject, hash, file_name, caption, person_id, added_by, added_ms, journal_sequence,
     off_reason, off_by, off_ms, off_sequence)
select id, subject_kind, subject, hash, file_name, caption, person_id, added_by, added_ms, journal_sequence,
    off_reason, off_by, off_ms, off_sequence
from attached;
drop table attached;
alter table attached_now rename to attached;
create unique index attached_once on attached (subject_kind, subject, hash) where off_reason is null;
create index attached_by_hash on attached (hash);

create trigger attached_to_something before insert on attached
when not case new.subject_kind
    when 'request' then exists (select 1 from request where cast(number as text) = new.subject)
    when 'part' then exists (select 1 from part where code = new.subject)
    else exists (select 1 from lot where code = new.subject)
end
begin
    select raise(abort, 'there is no such request, lot or part');
end;
create trigger attached_stays before update on attached
when old.off_reason is not null
    or new.id is not old.id or new.subject_kind is not old.subject_kind
    or new.subject is not old.subject or new.hash is not old.hash
    or new.file_name is not old.file_name or new.caption is not old.caption
    or new.person_id is not old.person_id or new.added_by is not old.added_by
    or new.added_ms is not old.added_ms or new.journal_sequence is not old.journal_sequence
begin
    select raise(abort, 'a photo or paper is taken off once, and not changed otherwise');
end;
create trigger attached_kept before delete on attached
begin
    select raise(abort, 'a photo or paper is not deleted; take it off');
end;
