-- What came, against what was expected; what the certificate of a lot says, and what a powder asks of it.

-- A receipt is one change: what came with one vehicle, or by itself.
create table receipt (
    id blob primary key check (length(id) = 16),
    number integer not null unique check (number >= 1),
    -- Null: it came without a delivery that was expected.
    delivery_id blob references delivery (id),
    received_ms integer not null,
    received_by text not null check (length(received_by) between 1 and 60),
    note text not null default '' check (length(note) <= 400),
    journal_sequence integer not null references journal (sequence)
) strict;
create index receipt_of_delivery on receipt (delivery_id);
create trigger receipt_stays before update on receipt
begin
    select raise(abort, 'a receipt is not changed; what came later is a further receipt');
end;
create trigger receipt_kept before delete on receipt
begin
    select raise(abort, 'a receipt is not deleted');
end;

-- What came of a line of the delivery, in the unit of the line; one of anything without an amount.
create table receipt_line (
    receipt_id blob not null references receipt (id),
    delivery_line_id blob not null references delivery_line (id),
    -- Taken in, what is damaged included.
    taken integer not null check (taken >= 0),
    -- Of that, damaged and set aside.
    damaged integer not null check (damaged between 0 and taken),
    -- Came, and was not taken in.
    refused integer not null check (refused >= 0),
    note text not null default '' check (length(note) <= 200),
    primary key (receipt_id, delivery_line_id)
) strict, without rowid;
create index receipt_line_of on receipt_line (delivery_line_id);
create trigger receipt_line_stays before update on receipt_line
begin
    select raise(abort, 'a receipt is not changed; what came later is a further receipt');
end;
create trigger receipt_line_kept before delete on receipt_line
begin
    select raise(abort, 'a receipt is not deleted');
end;

-- Null: it was there before receipts were kept, or was made here.
alter table lot add column receipt_id blob references receipt (id);
alter table lot add column made_on text check (made_on glob '????-??-??');
-- What 'use_by_ms' is: after a retest date it may be tested again, after a use-by date not.
alter table lot add column date_kind text not null default 'use-by' check (date_kind in ('use-by', 'retest'));
alter table lot add column storage text not null default '' check (length(storage) <= 80);
-- Relative humidity, in hundredths, in which it is to be kept.
alter table lot add column humidity_min integer check (humidity_min between 0 and 100);
alter table lot add column humidity_max integer check (humidity_max between 0 and 100);

-- As it came. The empty container's weight stands in 'tare_mg'.
alter table container add column seal text not null default '' check (length(seal) <= 40);
-- Null: nobody said.
alter table container add column seal_state text check (seal_state in ('whole', 'broken', 'none'));
alter table container add column gross_mg integer check (gross_mg between 1 and 1000000000);
alter table container add column damage text not null default '' check (length(damage) <= 200);

-- What the certificate of a lot says; the newest holds, earlier ones stay on record.
create table certificate (
    id blob primary key check (length(id) = 16),
    lot_id blob not null references lot (id),
    maker text not null check (length(maker) <= 80),
    maker_lot text not null check (length(maker_lot) <= 80),
    number text not null check (length(number) <= 80),
    dated text check (dated glob '????-??-??'),
    specification text not null check (length(specification) <= 80),
    revision text not null check (length(revision) <= 40),
    -- Nanometres.
    d10_nm integer check (d10_nm between 1 and 1000000),
    d50_nm integer check (d50_nm between 1 and 1000000),
    d90_nm integer check (d90_nm between 1 and 1000000),
    statement text not null check (length(statement) <= 400),
    -- Milliseconds for 50 g.
    flow_ms integer check (flow_ms between 1 and 1000000),
    -- Parts per million by mass.
    moisture_ppm integer check (moisture_ppm between 0 and 1000000),
    entered_ms integer not null,
    entered_by text not null check (length(entered_by) between 1 and 60),
    journal_sequence integer not null references journal (sequence),
    check (d10_nm <= d50_nm and d50_nm <= d90_nm and d10_nm <= d90_nm)
) strict;
create index certificate_of_lot on certificate (lot_id, journal_sequence);
create trigger certificate_stays before update on certificate
begin
    select raise(abort, 'what a certificate says is not changed; enter it anew');
end;
create trigger certificate_kept before delete on certificate
begin
    select raise(abort, 'what a certificate says is not deleted; enter it anew');
end;

-- Parts per million by mass: what the certificate allows, and what was found.
create table certificate_element (
    certificate_id blob not null references certificate (id),
    element text not null check (length(element) between 1 and 2),
    min_ppm integer check (min_ppm between 0 and 1000000),
    max_ppm integer check (max_ppm between 0 and 1000000),
    found_ppm integer check (found_ppm between 0 and 1000000),
    primary key (certificate_id, element),
    check (min_ppm <= max_ppm),
    check (coalesce(min_ppm, max_ppm, found_ppm) is not null)
) strict, without rowid;
create trigger certificate_element_stays before update on certificate_element
begin
    select raise(abort, 'what a certificate says is not changed; enter it anew');
end;
create trigger certificate_element_kept before delete on certificate_element
begin
    select raise(abort, 'what a certificate says is not deleted; enter it anew');
end;

-- What a powder asks of the certificates of its lots; the newest holds.
create table powder_limits (
    journal_sequence integer primary key references journal (sequence),
    powder_id blob not null references powder (id),
    said_by text not null check (length(said_by) between 1 and 60),
    said_ms integer not null,
    -- Why so: a specification, a trial, the maker's word.
    reason text not null check (length(reason) between 1 and 400)
) strict;
create index powder_limits_of on powder_limits (powder_id, journal_sequence);
create trigger powder_limits_stay before update on powder_limits
begin
    select raise(abort, 'limits are not changed; say the new ones');
end;
create trigger powder_limits_kept before delete on powder_limits
begin
    select raise(abort, 'limits are not deleted; say the new ones');
end;

create table powder_limit (
    journal_sequence integer not null references powder_limits (journal_sequence),
    -- 'D10', 'D50', 'D90' in nanometres, 'flow' in milliseconds for 50 g, 'moisture' or an element in parts per
    -- million by mass.
    what text not null check (length(what) between 1 and 8),
    least integer check (least between 0 and 1000000),
    most integer check (most between 0 and 1000000),
    primary key (journal_sequence, what),
    check (least <= most),
    check (coalesce(least, most) is not null)
) strict, without rowid;
create trigger powder_limit_stays before update on powder_limit
begin
    select raise(abort, 'limits are not changed; say the new ones');
end;
create trigger powder_limit_kept before delete on powder_limit
begin
    select raise(abort, 'limits are not deleted; say the new ones');
end;
