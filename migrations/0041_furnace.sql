-- Loads of a furnace: which parts shared one, or which containers of powder dried in it, and what its chart showed.
-- All of it is added to and never changed.

create table furnace_load (
    number integer primary key check (number >= 1),
    station_id blob not null references station (id),
    kind text not null check (kind in ('heat', 'drying')),
    -- Of parts: the cycle that they share; of powder nothing.
    cycle text not null check (length(cycle) <= 80 and (kind = 'heat') = (cycle <> '')),
    -- What the controller is set to, in degrees Celsius.
    set_c integer not null check (set_c between 20 and 1600),
    opened_by text not null check (length(opened_by) between 1 and 80),
    opened_ms integer not null,
    journal_sequence integer not null references journal (sequence)
) strict;

create table furnace_part (
    load_number integer not null references furnace_load (number),
    request_id blob not null references request (id),
    recipe_id blob not null,
    position integer not null,
    added_by text not null check (length(added_by) between 1 and 80),
    added_ms integer not null,
    journal_sequence integer not null references journal (sequence),
    primary key (load_number, request_id),
    foreign key (recipe_id, position) references recipe_operation (recipe_id, position)
) strict, without rowid;
create index furnace_part_of on furnace_part (request_id, load_number);

create table furnace_container (
    load_number integer not null references furnace_load (number),
    container_id blob not null references container (id),
    added_by text not null check (length(added_by) between 1 and 80),
    added_ms integer not null,
    journal_sequence integer not null references journal (sequence),
    primary key (load_number, container_id)
) strict, without rowid;
create index furnace_container_of on furnace_container (container_id, load_number);

-- What went wrong: the soak is void until it is judged, part by part.
create table furnace_excursion (
    journal_sequence integer primary key references journal (sequence),
    load_number integer not null references furnace_load (number),
    what text not null check (length(what) between 1 and 400),
    at_ms integer not null,
    told_by text not null check (length(told_by) between 1 and 80),
    told_ms integer not null
) strict;
create index furnace_excursion_of on furnace_excursion (load_number, journal_sequence);

create table furnace_closed (
    load_number integer primary key references furnace_load (number),
    -- Null: given up before the soak, and nothing in it was treated.
    actual_c integer check (actual_c between -50 and 1700),
    soak_from_ms integer,
    soak_to_ms integer check (soak_to_ms >= soak_from_ms),
    chart text not null check (length(chart) <= 80),
    operator text not null check (length(operator) <= 80),
    note text not null check (length(note) <= 400),
    closed_by text not null check (length(closed_by) between 1 and 80),
    closed_ms integer not null,
    journal_sequence integer not null references journal (sequence),
    check ((actual_c is null) = (soak_from_ms is null) and (actual_c is null) = (soak_to_ms is null)),
    check (actual_c is null or (chart <> '' and operator <> '')),
    check (actual_c is not null or note <> '')
) strict;

-- The heat treatments that a load entered as done.
create table furnace_done (
    journal_sequence integer primary key references work_done (journal_sequence),
    load_number integer not null references furnace_load (number)
) strict;
create index furnace_done_of on furnace_done (load_number);

create trigger furnace_load_stays before update on furnace_load
begin
    select raise(abort, 'a load is not changed; give it up, and open another');
end;
create trigger furnace_load_kept before delete on furnace_load
begin
    select raise(abort, 'a load is not deleted; give it up');
end;
create trigger furnace_part_stays before update on furnace_part
begin
    select raise(abort, 'a load is not changed; give it up, and open another');
end;
create trigger furnace_part_kept before delete on furnace_part
begin
    select raise(abort, 'a load is not changed; give it up, and open another');
end;
create trigger furnace_container_stays before update on furnace_container
begin
    select raise(abort, 'a load is not changed; give it up, and open another');
end;
create trigger furnace_container_kept before delete on furnace_container
begin
    select raise(abort, 'a load is not changed; give it up, and open another');
end;
create trigger furnace_excursion_stays before update on furnace_excursion
begin
    select raise(abort, 'what went wrong stays on record');
end;
create trigger furnace_excursion_kept before delete on furnace_excursion
begin
    select raise(abort, 'what went wrong stays on record');
end;
create trigger furnace_closed_stays before update on furnace_closed
begin
    select raise(abort, 'a closed load is not changed; report what went wrong');
end;
create trigger furnace_closed_kept before delete on furnace_closed
begin
    select raise(abort, 'a closed load is not changed; report what went wrong');
end;
create trigger furnace_done_stays before update on furnace_done
begin
    select raise(abort, 'what was done is not changed');
end;
create trigger furnace_done_kept before delete on furnace_done
begin
    select raise(abort, 'what was done is not deleted');
end;
create trigger furnace_part_while_open before insert on furnace_part
when exists (select 1 from furnace_closed where load_number = new.load_number)
begin
    select raise(abort, 'the load is closed; open another');
end;
create trigger furnace_container_while_open before insert on furnace_container
when exists (select 1 from furnace_closed where load_number = new.load_number)
begin
    select raise(abort, 'the load is closed; open another');
end;
