-- Interim parts: what went out with an end, what its machine's hour meter showed, when it came off, and
-- what became of it. All of it is added to and never changed.

create table interim_part (
    id blob primary key check (length(id) = 16),
    number integer not null unique check (number >= 1),
    -- What it was built for; null: it went out before it was recorded here.
    request_id blob references request (id),
    asset_id blob not null references asset (id),
    -- Null: not listed in the catalogue.
    part_id blob references part (id),
    part_name text not null check (length(part_name) between 1 and 80),
    -- Where on its machine; may be empty.
    place text not null check (length(place) <= 80),
    -- When it was fitted.
    since_ms integer not null,
    -- Either a date, or so many running hours at so many expected each day.
    off_by_ms integer,
    most_min integer check (most_min between 1 and 6000000),
    a_day_min integer check (a_day_min between 1 and 1440),
    -- What the hour meter showed as it was fitted.
    meter_min integer check (meter_min >= 0),
    owner text not null check (length(owner) between 1 and 80),
    removal_plan text not null check (length(removal_plan) between 1 and 400),
    -- Who let it go, and who entered that here.
    released_by text not null check (length(released_by) between 1 and 80),
    entered_by text not null check (length(entered_by) between 1 and 80),
    entered_ms integer not null,
    -- The request for what replaces it.
    follow_on_id blob not null references request (id),
    journal_sequence integer not null references journal (sequence),
    check ((off_by_ms is null) = (most_min is not null)),
    check ((most_min is null) = (a_day_min is null)),
    check (most_min is not null or meter_min is null)
) strict;

create table interim_reading (
    interim_id blob not null references interim_part (id),
    sequence integer not null check (sequence >= 1),
    read_ms integer not null,
    meter_min integer not null check (meter_min >= 0),
    entered_by text not null check (length(entered_by) between 1 and 80),
    entered_ms integer not null,
    journal_sequence integer not null references journal (sequence),
    primary key (interim_id, sequence)
) strict, without rowid;

create table interim_off (
    interim_id blob primary key references interim_part (id),
    off_ms integer not null,
    -- What the hour meter showed then; null: it has none, or nobody read it.
    meter_min integer check (meter_min >= 0),
    note text not null check (length(note) <= 400),
    entered_by text not null check (length(entered_by) between 1 and 80),
    entered_ms integer not null,
    journal_sequence integer not null references journal (sequence)
) strict, without rowid;

create table interim_return (
    interim_id blob primary key references interim_off (interim_id),
    returned_ms integer not null,
    fate text not null check (fate in ('kept', 'scrapped')),
    wear text not null check (length(wear) between 1 and 400),
    note text not null check (length(note) <= 400),
    entered_by text not null check (length(entered_by) between 1 and 80),
    entered_ms integer not null,
    journal_sequence integer not null references journal (sequence)
) strict, without rowid;

create trigger interim_part_stays before update on interim_part
begin
    select raise(abort, 'what went out is not changed; take it off, and record another');
end;
create trigger interim_part_kept before delete on interim_part
begin
    select raise(abort, 'what went out is not deleted; take it off');
end;
create trigger interim_reading_stays before update on interim_reading
begin
    select raise(abort, 'a reading is not changed; read the meter again');
end;
create trigger interim_reading_kept before delete on interim_reading
begin
    select raise(abort, 'a reading is not deleted; read the meter again');
end;
create trigger interim_off_stays before update on interim_off
begin
    select raise(abort, 'what came off is not changed');
end;
create trigger interim_off_kept before delete on interim_off
begin
    select raise(abort, 'what came off is not put back; record another');
end;
create trigger interim_return_stays before update on interim_return
begin
    select raise(abort, 'what became of a part is not changed');
end;
create trigger interim_return_kept before delete on interim_return
begin
    select raise(abort, 'what became of a part is not deleted');
end;
