-- Coupons sprayed beside a part, and what was found of each. All of it is added to and never changed.

create table coupon (
    number integer primary key check (number >= 1),
    request_id blob not null references request (id),
    -- The build beside which it was sprayed, where that is on record.
    build_number integer references build (number),
    -- Where it stood, what is marked on it.
    label text not null check (length(label) between 1 and 80),
    entered_by text not null check (length(entered_by) between 1 and 80),
    entered_ms integer not null,
    journal_sequence integer not null references journal (sequence)
) strict;
create index coupon_of on coupon (request_id, number);

create table coupon_result (
    journal_sequence integer primary key references journal (sequence),
    coupon_number integer not null references coupon (number),
    property text not null check (property in ('strength', 'hardness', 'density', 'porosity')),
    condition text not null check (condition in ('as-sprayed', 'heat-treated')),
    -- In thousandths of the property's unit.
    figure integer not null check (figure >= 0),
    -- Load of a hardness, in grams-force.
    load_gf integer check (load_gf between 1 and 100000),
    -- Tested here with a tool, or by a laboratory.
    tool_id blob references tool (id),
    laboratory text not null check (length(laboratory) <= 80),
    tested_by text not null check (length(tested_by) between 1 and 80),
    tested_ms integer not null,
    entered_by text not null check (length(entered_by) between 1 and 80),
    check ((load_gf is not null) = (property = 'hardness')),
    check ((tool_id is null) = (laboratory <> ''))
) strict;
create index coupon_result_of on coupon_result (coupon_number);
create index coupon_result_by_tool on coupon_result (tool_id, journal_sequence);

create trigger coupon_stays before update on coupon
when new.number is not old.number or new.request_id is not old.request_id or new.label is not old.label
    or old.build_number is not null or new.entered_by is not old.entered_by or new.entered_ms is not old.entered_ms
    or new.journal_sequence is not old.journal_sequence
begin
    select raise(abort, 'a coupon is not changed, but for the build that it belongs to, once');
end;
create trigger coupon_kept before delete on coupon
begin
    select raise(abort, 'a coupon is not deleted');
end;
create trigger coupon_result_stays before update on coupon_result
begin
    select raise(abort, 'what was found is not changed; test another coupon');
end;
create trigger coupon_result_kept before delete on coupon_result
begin
    select raise(abort, 'what was found is not deleted; test another coupon');
end;
