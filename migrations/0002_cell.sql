-- The cell, the stations beside it, who is on duty, what was read off the gauges.
-- Times are milliseconds since 1970 UTC. Codes are what people read; ids are what rows refer to.

-- How the site plans. The row of `site` itself stands in 0001.
create table planning (
    one integer primary key check (one = 1),
    loss_word text not null check (length(loss_word) between 1 and 40),
    plan_days integer not null check (plan_days between 1 and 60),
    -- A build is planned at the powder that suffices so many times in a thousand.
    need_permille integer not null check (need_permille between 500 and 999),
    -- Minutes from a delivery's landing until what it brought may be used.
    receiving_min integer not null check (receiving_min between 0 and 10080)
) strict;

create table powder (
    id blob primary key check (length(id) = 16),
    code text not null unique check (length(code) between 1 and 40),
    name text not null check (length(name) between 1 and 80)
) strict;

-- Its name stands in 0001, with the site's.
create table cell (
    one integer primary key check (one = 1),
    -- When what is under the nozzle now is done; null: free.
    free_from integer,
    -- Powder in the feeder; null: clean and empty.
    feeder_id blob references powder (id),
    warm_up_min integer not null check (warm_up_min between 0 and 600),
    same_powder_min integer not null check (same_powder_min between 0 and 600),
    default_changeover_min integer not null check (default_changeover_min between 0 and 1440),
    booth_x_mm integer not null check (booth_x_mm > 0),
    booth_y_mm integer not null check (booth_y_mm > 0),
    booth_z_mm integer not null check (booth_z_mm > 0),
    max_part_g integer not null check (max_part_g > 0),
    -- As machined; a bore read later stands in `reading` and takes its place.
    throat_um integer not null check (throat_um between 500 and 10000),
    discharge_permille integer not null check (discharge_permille between 500 and 1000),
    carrier_permille integer not null check (carrier_permille between 0 and 500),
    max_mbar integer not null check (max_mbar between 1000 and 100000),
    max_c integer not null check (max_c between 20 and 1200),
    heater_permille integer not null check (heater_permille between 100 and 1000),
    extraction_w integer not null check (extraction_w >= 0)
) strict;

create table changeover (
    from_id blob not null references powder (id),
    to_id blob not null references powder (id),
    minutes integer not null check (minutes between 0 and 1440),
    primary key (from_id, to_id)
) strict, without rowid;

create table station (
    id blob primary key check (length(id) = 16),
    code text not null unique check (length(code) between 1 and 40),
    name text not null check (length(name) between 1 and 80),
    slots integer not null check (slots between 1 and 99),
    power_w integer not null check (power_w >= 0)
) strict;

-- When the cell (station_id null) or some slots of a station cannot be used.
create table closure (
    id blob primary key check (length(id) = 16),
    station_id blob references station (id),
    from_ms integer not null,
    to_ms integer not null,
    slots integer not null check (slots >= 1),
    reason text not null check (length(reason) between 1 and 200),
    check (to_ms > from_ms)
) strict;

-- A weekly pattern in the site's own clock; a `to` not after `from` is on the next day.
create table duty_hours (
    id blob primary key check (length(id) = 16),
    -- Which days: seven characters, Monday first, each '1' or '0'.
    days text not null check (length(days) = 7 and days not glob '*[^01]*'),
    from_min integer not null check (from_min between 0 and 1439),
    to_min integer not null check (to_min between 0 and 1439),
    crew integer not null check (crew between 1 and 20)
) strict;

create table bank (
    id blob primary key check (length(id) = 16),
    code text not null unique check (length(code) between 1 and 40),
    gas text not null check (gas in ('nitrogen', 'helium', 'argon', 'air')),
    bottles integer not null check (bottles between 1 and 1000),
    bottle_ml integer not null check (bottle_ml between 1 and 1000000),
    drop_mbar integer not null check (drop_mbar between 0 and 50000),
    steady_g_per_day integer not null check (steady_g_per_day >= 0)
) strict;

create table compressor (
    one integer primary key check (one = 1),
    free_air_l_per_min integer not null check (free_air_l_per_min > 0),
    max_mbar integer not null check (max_mbar between 1000 and 1000000),
    inlet_c integer not null check (inlet_c between -40 and 60),
    power_w integer not null check (power_w >= 0),
    service_in_min integer check (service_in_min >= 0)
) strict;

create table fuel_set (
    one integer primary key check (one = 1),
    rated_w integer not null check (rated_w > 0),
    ml_per_kwh integer not null check (ml_per_kwh > 0),
    idle_ml_per_h_kw integer not null check (idle_ml_per_h_kw >= 0),
    camp_w integer not null check (camp_w >= 0)
) strict;

-- What a person read off a gauge. Never changed; a later reading takes the place of an earlier one.
create table reading (
    id blob primary key check (length(id) = 16),
    what text not null check (what in ('bank-pressure', 'bank-temperature', 'fuel', 'nozzle-bore')),
    -- The bank, where there may be several; null otherwise.
    bank_id blob references bank (id),
    -- Pressure absolute in millibar, temperature in thousandths of a degree Celsius, fuel in
    -- millilitres, bore in micrometres.
    value integer not null,
    read_at integer not null,
    read_by text not null check (length(read_by) between 1 and 80),
    check ((bank_id is not null) = (what in ('bank-pressure', 'bank-temperature')))
) strict;
create index reading_latest on reading (what, bank_id, read_at);
create trigger reading_stays before update on reading
begin
    select raise(abort, 'a reading is not changed; enter a new one');
end;
create trigger reading_kept before delete on reading
begin
    select raise(abort, 'a reading is not deleted; enter a new one');
end;
