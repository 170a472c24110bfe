-- What keeps pages quick when there are years behind them: ways to the newest and to what is still open, so that
-- nothing that every page needs is added up or looked through from the beginning.

-- Whether anything is in a container, kept by the movements themselves. How much is the sum of movements, as before;
-- this only tells where there is anything to add up.
alter table container add column holds integer not null default 0 check (holds in (0, 1));
update container set holds = 1
where coalesce((select sum(m.milligrams) from movement m where m.to_id = container.id), 0)
    > coalesce((select sum(m.milligrams) from movement m where m.from_id = container.id), 0);
create index container_that_holds on container (lot_id) where holds = 1;
create trigger movement_fills after insert on movement
begin
    update container set holds = 1 where id = new.to_id and holds = 0;
    update container set holds = 0
    where id = new.from_id
        and coalesce((select sum(m.milligrams) from movement m where m.to_id = new.from_id), 0)
        = coalesce((select sum(m.milligrams) from movement m where m.from_id = new.from_id), 0);
end;

-- The book of a lot, the newest first, and the few movements that made one lot of another.
drop index movement_of_lot;
drop index movement_into_lot;
create index movement_of_lot on movement (lot_id, journal_sequence);
create index movement_into_lot on movement (into_lot_id, journal_sequence);
create index movement_received on movement (to_id, milligrams) where reason = 'receipt';
create index movement_blended on movement (lot_id, into_lot_id) where reason = 'blend';
create index movement_blended_into on movement (into_lot_id, lot_id) where reason = 'blend';
create index lot_received on lot (received_ms, code);

-- Requests that are open, and what was asked for of each machine.
create index request_open on request (number) where state = 'open';
create index request_of on request (asset_id, part_id, damage);
create index work_done_by on work_done (recipe_id, position, journal_sequence);
drop index weighed_build_of_stage;
create index weighed_build_of_stage on weighed_build (recipe_id, position, built_ms);
create index weighed_build_of_lot on weighed_build (lot_id);
create index build_plan_of_bank on build_plan (bank, build_id);
create index coupon_of_build on coupon (build_number);

-- Where time went back from one entry of the journal to the next, or on by more than half a day: core::journal::clock
-- says which of them are doubted, and looks at no others.
create table journal_step (
    sequence integer primary key references journal (sequence),
    -- Time of the entry before.
    before integer not null
) strict;
insert into journal_step (sequence, before)
select sequence, before
from (select sequence, time, lag(time) over (order by sequence) as before from journal)
where time < before or time - before > 43200000;
create trigger journal_steps after insert on journal
begin
    insert into journal_step (sequence, before)
    select new.sequence, j.time from journal j
    where j.sequence = new.sequence - 1 and (new.time < j.time or new.time - j.time > 43200000);
end;
create index journal_clock on journal (sequence) where kind = 'clock.confirmed';

-- The newest reading of each gauge.
drop index reading_latest;
create index reading_latest on reading (what, bank_id, station_id, read_at, id);
create index reading_largest on reading (what, value);
create view reading_newest as
with gauge (what, bank_id, station_id) as (
    select column1, null, null
    from (values ('fuel'), ('nozzle-bore'), ('heater-power'), ('collector-drop'), ('compressor-service'))
    union all select 'bank-pressure', id, null from bank
    union all select 'bank-temperature', id, null from bank
    union all select 'furnace-temperature', null, id from station
)
select r.id, r.what, r.bank_id, r.station_id, r.value, r.read_at, r.read_by
from gauge g
join reading r on r.id = (
    select n.id from reading n
    where n.what = g.what and n.bank_id is g.bank_id and n.station_id is g.station_id
    order by n.read_at desc, n.id desc
    limit 1
);
