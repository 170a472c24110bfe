-- Lots, their containers, the ledger of powder, and deliveries expected.

create table delivery (
    id blob primary key check (length(id) = 16),
    code text not null unique check (length(code) between 1 and 40),
    name text not null check (length(name) between 1 and 80),
    expected_ms integer not null,
    latest_ms integer check (latest_ms >= expected_ms),
    payload_kg integer check (payload_kg > 0),
    state text not null check (state in ('expected', 'arrived', 'cancelled'))
) strict;

create table delivery_line (
    id blob primary key check (length(id) = 16),
    delivery_id blob not null references delivery (id),
    position integer not null check (position >= 1),
    kind text not null check (kind in ('powder', 'gas', 'fuel', 'other')),
    powder_id blob references powder (id),
    bank_id blob references bank (id),
    -- Grams of powder, bottles of gas, millilitres of fuel; 0 for anything else.
    amount integer not null check (amount >= 0),
    -- Filling pressure of gas bottles, absolute.
    pressure_mbar integer check (pressure_mbar > 0),
    use_by_ms integer,
    what text not null default '' check (length(what) <= 200),
    unique (delivery_id, position),
    check ((powder_id is not null) = (kind = 'powder')),
    check ((bank_id is not null and pressure_mbar is not null) = (kind = 'gas')),
    check (kind = 'other' or amount > 0)
) strict;

create table lot (
    id blob primary key check (length(id) = 16),
    code text not null unique check (length(code) between 1 and 40),
    powder_id blob not null references powder (id),
    state text not null check (state in ('arrived', 'quarantine', 'released', 'hold', 'rejected', 'empty')),
    state_note text not null default '' check (length(state_note) <= 200),
    maker_lot text not null default '' check (length(maker_lot) <= 80),
    received_ms integer not null,
    -- The last moment at which it may be sprayed; null: none told.
    use_by_ms integer
) strict;

create table container (
    id blob primary key check (length(id) = 16),
    lot_id blob not null references lot (id),
    code text not null unique check (length(code) between 1 and 40),
    opened_ms integer
) strict;
create index container_of_lot on container (lot_id);

-- Every gram that came or went. On hand is the sum; there is no stored balance.
create table movement (
    id blob primary key check (length(id) = 16),
    container_id blob not null references container (id),
    -- In is positive, out negative.
    milligrams integer not null check (milligrams <> 0),
    reason text not null check (reason in ('receipt', 'draw', 'return', 'count', 'write-off', 'correction')),
    note text not null default '' check (length(note) <= 200),
    -- The movement that a correction takes back.
    corrects_id blob references movement (id),
    at_ms integer not null,
    -- The journal entry of the change that made it.
    journal_sequence integer not null references journal (sequence),
    check ((corrects_id is not null) = (reason = 'correction'))
) strict;
create index movement_of_container on movement (container_id);
create trigger movement_stays before update on movement
begin
    select raise(abort, 'a movement is not changed; correct it by a further movement');
end;
create trigger movement_kept before delete on movement
begin
    select raise(abort, 'a movement is not deleted; correct it by a further movement');
end;
create trigger movement_not_overdrawn before insert on movement
when new.milligrams < 0
    and (select coalesce(sum(milligrams), 0) from movement where container_id = new.container_id) + new.milligrams < 0
begin
    select raise(abort, 'a container cannot give more than it holds');
end;
