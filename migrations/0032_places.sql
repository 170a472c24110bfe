-- Powder has a place, and moves from one place to another.

-- A build: one operation of a recipe sprayed for a request.
create table build (
    id blob primary key check (length(id) = 16),
    number integer not null unique check (number >= 1),
    request_id blob not null references request (id),
    recipe_id blob not null,
    position integer not null,
    begun_ms integer not null,
    journal_sequence integer not null unique references journal (sequence),
    foreign key (recipe_id, position) references recipe_operation (recipe_id, position)
) strict;
create index build_of on build (request_id);
create index build_by on build (recipe_id, position);
create trigger build_stays before update on build
begin
    select raise(abort, 'a build is not changed; say what was wrong by a further record');
end;
create trigger build_kept before delete on build
begin
    select raise(abort, 'a build is not deleted; it stays on record');
end;

-- Where powder can be. A container, and what is sprayed in a build, are places by the id that they have.
create table place (
    id blob primary key check (length(id) = 16),
    kind text not null check (kind in ('depot', 'container', 'feeder', 'build', 'coupon', 'waste', 'gap', 'before')),
    container_id blob unique references container (id) check (container_id = id),
    build_id blob references build (id),
    check ((container_id is not null) = (kind = 'container')),
    check ((build_id is not null) = (kind in ('build', 'coupon'))),
    check (kind <> 'build' or build_id = id),
    unique (build_id, kind)
) strict;
create unique index place_of_a_kind on place (kind) where kind in ('depot', 'feeder', 'waste', 'gap', 'before');
insert into place (id, kind)
select randomblob(16), column1 from (values ('depot'), ('feeder'), ('waste'), ('gap'), ('before'));
insert into place (id, kind, container_id) select id, 'container', id from container;
create trigger container_is_a_place after insert on container
begin
    insert into place (id, kind, container_id) values (new.id, 'container', new.id);
end;
create trigger build_is_two_places after insert on build
begin
    insert into place (id, kind, build_id) values (new.id, 'build', new.id), (randomblob(16), 'coupon', new.id);
end;
create trigger place_stays before update on place
begin
    select raise(abort, 'a place is not changed');
end;
create trigger place_kept before delete on place
begin
    select raise(abort, 'a place is not deleted');
end;

-- From which kind of place to which powder moves for which reason; core::powder::book says the same, and a test
-- holds the two together.
create table movement_rule (
    reason text not null,
    from_kind text not null,
    to_kind text not null,
    primary key (reason, from_kind, to_kind)
) strict, without rowid;
insert into movement_rule (reason, from_kind, to_kind)
values
    ('receipt', 'depot', 'container'),
    ('before', 'container', 'before'),
    ('draw', 'container', 'feeder'),
    ('return', 'feeder', 'container'),
    ('spray', 'feeder', 'build'),
    ('coupon', 'build', 'coupon'),
    ('sweep', 'build', 'waste'),
    ('write-off', 'container', 'waste'),
    ('write-off', 'feeder', 'waste'),
    ('count', 'container', 'gap'),
    ('count', 'gap', 'container'),
    ('count', 'feeder', 'gap'),
    ('count', 'gap', 'feeder'),
    ('repack', 'container', 'container'),
    ('blend', 'container', 'container'),
    ('send-back', 'container', 'depot');

drop trigger movement_stays;
drop trigger movement_kept;
drop trigger movement_not_overdrawn;
drop index movement_of_container;
alter table movement rename to movement_by_container;

-- Every gram that moved. What is in a place is the sum; there is no stored balance.
create table movement (
    id blob primary key check (length(id) = 16),
    -- The lot as it leaves, and as it arrives: another one in a blend.
    lot_id blob not null references lot (id),
    into_lot_id blob not null references lot (id),
    from_id blob not null references place (id),
    to_id blob not null references place (id),
    milligrams integer not null check (milligrams > 0),
    reason text not null check (reason in (
        'receipt', 'before', 'draw', 'return', 'spray', 'coupon', 'sweep', 'write-off', 'count', 'repack', 'blend',
        'send-back', 'correction'
    )),
    note text not null default '' check (length(note) <= 200),
    -- The movement that a correction takes back; each once.
    corrects_id blob unique references movement (id),
    at_ms integer not null,
    -- The journal entry of the change that made it.
    journal_sequence integer not null references journal (sequence),
    check (from_id <> to_id),
    check (lot_id = into_lot_id or reason in ('blend', 'correction')),
    check ((corrects_id is not null) = (reason = 'correction'))
) strict;

-- What was drawn before builds had a book went where nobody can tell any more.
insert into movement (id, lot_id, into_lot_id, from_id, to_id, milligrams, reason, note, corrects_id, at_ms, journal_sequence)
select m.id, c.lot_id, c.lot_id,
    case when m.milligrams > 0 then other.id else c.id end,
    case when m.milligrams > 0 then c.id else other.id end,
    abs(m.milligrams),
    case m.reason when 'draw' then 'before' else m.reason end,
    m.note, m.corrects_id, m.at_ms, m.journal_sequence
from movement_by_container m
join container c on c.id = m.container_id
left join movement_by_container taken_back on taken_back.id = m.corrects_id
join place other on other.kind = case coalesce(taken_back.reason, m.reason)
    when 'receipt' then 'depot'
    when 'count' then 'gap'
    when 'write-off' then 'waste'
    else 'before'
end
order by m.rowid;
drop table movement_by_container;

create index movement_out on movement (from_id, lot_id, milligrams);
create index movement_in on movement (to_id, into_lot_id, milligrams);
create index movement_of_lot on movement (lot_id);
create index movement_into_lot on movement (into_lot_id);
create index movement_at on movement (at_ms);
create index movement_by_entry on movement (journal_sequence);
create index movement_counted on movement (journal_sequence) where reason = 'count';

create trigger movement_stays before update on movement
begin
    select raise(abort, 'a movement is not changed; take it back by a further movement');
end;
create trigger movement_kept before delete on movement
begin
    select raise(abort, 'a movement is not deleted; take it back by a further movement');
end;
create trigger movement_goes before insert on movement
when new.reason <> 'correction' and not exists (
    select 1
    from movement_rule r
    join place a on a.id = new.from_id and a.kind = r.from_kind
    join place b on b.id = new.to_id and b.kind = r.to_kind
    where r.reason = new.reason
)
begin
    select raise(abort, 'powder does not move so for this reason');
end;
create trigger movement_taken_back before insert on movement
when new.reason = 'correction' and not exists (
    select 1
    from movement m
    where m.id = new.corrects_id and m.reason <> 'correction'
        and m.from_id = new.to_id and m.to_id = new.from_id
        and m.lot_id = new.into_lot_id and m.into_lot_id = new.lot_id
        and m.milligrams = new.milligrams
)
begin
    select raise(abort, 'a correction takes back one whole movement, and no correction');
end;
-- A container is of one lot.
create trigger movement_of_its_lot before insert on movement
when exists (select 1 from container c where c.id = new.from_id and c.lot_id <> new.lot_id)
    or exists (select 1 from container c where c.id = new.to_id and c.lot_id <> new.into_lot_id)
begin
    select raise(abort, 'a container holds powder of its own lot alone');
end;
create trigger movement_not_overdrawn before insert on movement
when exists (select 1 from place where id = new.from_id and kind in ('container', 'feeder', 'build', 'coupon'))
    and coalesce((select sum(milligrams) from movement where to_id = new.from_id and into_lot_id = new.lot_id), 0)
    - coalesce((select sum(milligrams) from movement where from_id = new.from_id and lot_id = new.lot_id), 0)
    < new.milligrams
begin
    select raise(abort, 'a place cannot give more of a lot than it holds');
end;

-- What is in each container. Ask it for some lots: each row is a sum.
create view container_now as
select c.id as container_id, c.lot_id, c.code, c.opened_ms,
    coalesce((select sum(m.milligrams) from movement m where m.to_id = c.id), 0)
    - coalesce((select sum(m.milligrams) from movement m where m.from_id = c.id), 0) as milligrams
from container c;

-- Movements with the names of what they join.
create view movement_line as
select m.rowid as place_in_book, m.id, l.code as lot, i.code as into_lot, m.milligrams, m.reason, m.note, m.at_ms,
    m.journal_sequence,
    f.kind as from_kind, fc.code as from_container, fb.number as from_build,
    t.kind as to_kind, tc.code as to_container, tb.number as to_build,
    exists (select 1 from movement c where c.corrects_id = m.id) as taken_back
from movement m
join lot l on l.id = m.lot_id
join lot i on i.id = m.into_lot_id
join place f on f.id = m.from_id
left join container fc on fc.id = f.container_id
left join build fb on fb.id = f.build_id
join place t on t.id = m.to_id
left join container tc on tc.id = t.container_id
left join build tb on tb.id = t.build_id;

-- What came to the powder on hand, above 0, or went from it, below 0; on hand is what containers and the feeder
-- hold. Powder poured from one into another is no line.
create view stock_line as
select m.id, m.into_lot_id as lot_id, m.milligrams, m.at_ms, m.journal_sequence
from movement m
join place a on a.id = m.from_id
join place b on b.id = m.to_id
where b.kind in ('container', 'feeder') and (a.kind not in ('container', 'feeder') or m.lot_id <> m.into_lot_id)
union all
select m.id, m.lot_id, -m.milligrams, m.at_ms, m.journal_sequence
from movement m
join place a on a.id = m.from_id
join place b on b.id = m.to_id
where a.kind in ('container', 'feeder') and (b.kind not in ('container', 'feeder') or m.lot_id <> m.into_lot_id);

-- The feeder was empty then, and clean if somebody cleaned it.
create table feeder_emptied (
    journal_sequence integer primary key references journal (sequence),
    at_ms integer not null,
    cleaned integer not null check (cleaned in (0, 1))
) strict;
create trigger feeder_emptied_stays before update on feeder_emptied
begin
    select raise(abort, 'that the feeder was emptied stays on record');
end;
create trigger feeder_emptied_kept before delete on feeder_emptied
begin
    select raise(abort, 'that the feeder was emptied stays on record');
end;

-- A container stands open from the time at which it is opened to that at which it is closed.
create table container_seal (
    journal_sequence integer not null references journal (sequence),
    container_id blob not null references container (id),
    at_ms integer not null,
    open integer not null check (open in (0, 1)),
    primary key (journal_sequence, container_id, open)
) strict, without rowid;
create index container_seal_of on container_seal (container_id, at_ms);
create trigger container_seal_stays before update on container_seal
begin
    select raise(abort, 'that a container was opened or closed stays on record');
end;
create trigger container_seal_kept before delete on container_seal
begin
    select raise(abort, 'that a container was opened or closed stays on record');
end;

-- What the empty container weighs; null: nobody told.
alter table container add column tare_mg integer check (tare_mg between 0 and 1000000000);
-- How long a container of it may stand open in all; null: nobody told.
alter table powder add column open_limit_min integer check (open_limit_min between 1 and 100000);

-- How far weighing and book may differ: the scale's division, so many of them, and so many thousandths of what was
-- drawn; beyond the watch line somebody looks, beyond the stop line the lot is held. Common practice, no source.
create table weighing (
    one integer primary key check (one = 1),
    division_mg integer not null check (division_mg between 1 and 1000000),
    divisions integer not null check (divisions between 0 and 100),
    watch_permille integer not null check (watch_permille between 0 and 1000),
    stop_permille integer not null check (stop_permille between watch_permille and 1000)
) strict;
insert into weighing (one, division_mg, divisions, watch_permille, stop_permille) values (1, 10000, 2, 10, 30);
