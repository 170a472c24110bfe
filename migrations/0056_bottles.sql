-- Full bottles that came with a delivery wait until they stand open with a bank. What waits is the sum of these:
-- never changed, and never below 0. All that waits of one gas, one size and one filling pressure is alike.
create table bottle_move (
    id blob primary key check (length(id) = 16),
    gas text not null check (gas in ('nitrogen', 'helium', 'argon', 'air')),
    bottle_ml integer not null check (bottle_ml between 1 and 1000000),
    -- As filled, absolute.
    pressure_mbar integer not null check (pressure_mbar > 0),
    -- What came, or, below 0, what joined a bank.
    bottles integer not null check (bottles between -1000 and 1000 and bottles <> 0),
    receipt_id blob references receipt (id),
    bank_id blob references bank (id),
    -- Empty ones that were taken off the bank for them.
    taken_off integer not null default 0 check (taken_off between 0 and 1000),
    moved_by text not null check (length(moved_by) between 1 and 80),
    moved_ms integer not null,
    journal_sequence integer not null references journal (sequence),
    check ((bottles > 0) = (receipt_id is not null)),
    check ((bottles < 0) = (bank_id is not null)),
    check (bottles < 0 or taken_off = 0)
) strict;
create index bottle_move_of on bottle_move (gas, bottle_ml, pressure_mbar);

create trigger bottle_move_waits before insert on bottle_move
when new.bottles < 0 and -new.bottles > (
    select coalesce(sum(bottles), 0) from bottle_move
    where gas = new.gas and bottle_ml = new.bottle_ml and pressure_mbar = new.pressure_mbar)
begin
    select raise(abort, 'no more bottles join a bank than wait');
end;
create trigger bottle_move_stays before update on bottle_move
begin
    select raise(abort, 'what became of bottles is not changed');
end;
create trigger bottle_move_kept before delete on bottle_move
begin
    select raise(abort, 'what became of bottles is not deleted');
end;
