-- What the cell is like today: nozzle, heater, collector, feeder; what a powder is made of; and more
-- gauges to read. What nobody has told stays null, and what needs it is then not worked out.

alter table cell add column heel_g integer not null default 0 check (heel_g between 0 and 20000);
-- How fast bottles are drawn: 0 so slowly that they keep their temperature, 1000 so fast that all
-- cooling stays in them.
alter table cell add column fast_permille integer not null default 500 check (fast_permille between 0 and 1000);
-- The most that the heater takes from the set, as built; a heater measured since stands in `reading`.
alter table cell add column heater_w integer check (heater_w between 100 and 1000000);
alter table cell add column nozzle_exit_um integer check (nozzle_exit_um between 505 and 50000);
alter table cell add column nozzle_divergent_um integer check (nozzle_divergent_um between 5000 and 500000);
-- The bore at which the nozzle is changed.
alter table cell add column worn_um integer check (worn_um between 500 and 10000);
-- The pressure drop at which the collector's filter elements are changed.
alter table cell add column collector_limit_pa integer check (collector_limit_pa between 10 and 20000);

-- Figures of the solid metal, from a handbook or the maker: all of them or none.
alter table powder add column density_kg_m3 integer check (density_kg_m3 between 500 and 25000);
alter table powder add column strength_mpa integer check (strength_mpa between 1 and 3000);
alter table powder add column melting_c integer check (melting_c between 100 and 4000);
alter table powder add column cp_j_kg_k integer check (cp_j_kg_k between 50 and 5000);
-- The middle of its sizes (D50).
alter table powder add column size_um integer check (size_um between 1 and 200);

-- The vessel behind the compressor: it runs when the pressure falls to `receiver_low_mbar` and stops at
-- `max_mbar`.
alter table compressor add column receiver_ml integer check (receiver_ml between 1000 and 100000000);
alter table compressor add column receiver_low_mbar integer check (receiver_low_mbar between 1000 and 1000000);

-- A check cannot be widened in place, so the readings move to a table that knows the new gauges.
create table reading_next (
    id blob primary key check (length(id) = 16),
    what text not null check (what in (
        'bank-pressure', 'bank-temperature', 'fuel', 'nozzle-bore',
        'heater-power', 'collector-drop', 'compressor-service', 'furnace-temperature'
    )),
    bank_id blob references bank (id),
    station_id blob references station (id),
    -- Pressure absolute in millibar, temperature in thousandths of a degree Celsius, fuel in
    -- millilitres, bore in micrometres, power in watts, pressure drop in pascals, service in minutes
    -- of running left.
    value integer not null,
    read_at integer not null,
    read_by text not null check (length(read_by) between 1 and 80),
    check ((bank_id is not null) = (what in ('bank-pressure', 'bank-temperature'))),
    check ((station_id is not null) = (what = 'furnace-temperature'))
) strict;
insert into reading_next (id, what, bank_id, value, read_at, read_by)
    select id, what, bank_id, value, read_at, read_by from reading;
drop table reading;
alter table reading_next rename to reading;
create index reading_latest on reading (what, bank_id, station_id, read_at);
create trigger reading_stays before update on reading
begin
    select raise(abort, 'a reading is not changed; enter a new one');
end;
create trigger reading_kept before delete on reading
begin
    select raise(abort, 'a reading is not deleted; enter a new one');
end;
