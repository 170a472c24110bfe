-- What the depot can send: items by their stock numbers, and which of them go together. What is said of an
-- item is added to and never changed; the newest version holds.

create table item (
    id blob primary key check (length(id) = 16),
    code text not null unique check (length(code) between 1 and 40)
) strict;

create table item_said (
    item_id blob not null references item (id),
    version integer not null check (version >= 1),
    name text not null check (length(name) between 1 and 80),
    -- Of issue, as 'can 5 kg'.
    unit text not null check (length(unit) between 1 and 40),
    content text not null check (content in ('powder', 'gas', 'fuel', 'consumable', 'part', 'other')),
    powder_id blob references powder (id),
    bank_id blob references bank (id),
    part_id blob references part (id),
    -- In one unit: grams of powder, millilitres of fuel; of gas the pressure at which it is filled, in
    -- millibar.
    amount integer check (amount > 0),
    -- Thousandths of a unit that are used.
    per_build_milli integer not null default 0 check (per_build_milli between 0 and 1000000),
    per_hour_milli integer not null default 0 check (per_hour_milli between 0 and 1000000),
    per_day_milli integer not null default 0 check (per_day_milli between 0 and 1000000),
    net_g integer not null check (net_g between 1 and 20000000),
    gross_g integer not null check (gross_g between net_g and 20000000),
    x_mm integer not null check (x_mm between 1 and 20000),
    y_mm integer not null check (y_mm between 1 and 20000),
    z_mm integer not null check (z_mm between 1 and 20000),
    stackable integer not null check (stackable in (0, 1)),
    sheet_state text not null check (sheet_state in ('not-read', 'free', 'entry')),
    -- The maker's safety sheet and its date, or why there is none.
    sheet text not null default '' check (length(sheet) <= 200),
    un integer check (un between 1 and 9999),
    proper_name text not null default '' check (length(proper_name) <= 200),
    class text not null default '' check (length(class) <= 4),
    -- Parted by blanks.
    subsidiary text not null default '' check (length(subsidiary) <= 20),
    packing_group text check (packing_group in ('I', 'II', 'III')),
    -- What the rules of carriage count of one unit: grams, millilitres, or millilitres of water capacity.
    counted integer check (counted > 0),
    -- Units that the depot has; null: not known.
    depot integer check (depot between 0 and 1000000),
    -- Why it is no longer sent for; null: it is.
    retired_reason text check (length(retired_reason) between 1 and 400),
    said_by text not null check (length(said_by) between 1 and 80),
    said_ms integer not null,
    primary key (item_id, version),
    check ((powder_id is not null) = (content = 'powder')),
    check ((bank_id is not null) = (content = 'gas')),
    check ((part_id is not null) = (content = 'part')),
    check ((amount is not null) = (content in ('powder', 'gas', 'fuel'))),
    check ((sheet <> '') = (sheet_state <> 'not-read')),
    check ((sheet_state = 'entry') = (un is not null and proper_name <> '' and class <> '' and counted is not null))
) strict, without rowid;
create trigger item_said_stays before update on item_said
begin
    select raise(abort, 'what was said of an item is not changed; say what holds now');
end;
create trigger item_said_kept before delete on item_said
begin
    select raise(abort, 'what was said of an item is not deleted; say what holds now');
end;

-- What may be sent instead, the best first.
create table item_substitute (
    item_id blob not null,
    version integer not null,
    position integer not null check (position >= 1),
    substitute_id blob not null references item (id),
    primary key (item_id, version, position),
    unique (item_id, version, substitute_id),
    foreign key (item_id, version) references item_said (item_id, version),
    check (substitute_id <> item_id)
) strict, without rowid;
create trigger item_substitute_stays before update on item_substitute
begin
    select raise(abort, 'what was said of an item is not changed; say what holds now');
end;
create trigger item_substitute_kept before delete on item_substitute
begin
    select raise(abort, 'what was said of an item is not deleted; say what holds now');
end;

-- Units of a consumable that somebody counted here; the newest count holds.
create table item_count (
    journal_sequence integer primary key references journal (sequence),
    item_id blob not null references item (id),
    units integer not null check (units between 0 and 1000000),
    counted_by text not null check (length(counted_by) between 1 and 80),
    counted_ms integer not null
) strict;
create index item_count_of on item_count (item_id, journal_sequence);
create trigger item_count_stays before update on item_count
begin
    select raise(abort, 'a count is not changed; count again');
end;
create trigger item_count_kept before delete on item_count
begin
    select raise(abort, 'a count is not deleted; count again');
end;

-- Items that are sent together or not at all: each at least once. A version without items: they no longer
-- are.
create table item_set (
    number integer not null check (number >= 1),
    version integer not null check (version >= 1),
    why text not null check (length(why) between 1 and 400),
    said_by text not null check (length(said_by) between 1 and 80),
    said_ms integer not null,
    primary key (number, version)
) strict, without rowid;
create trigger item_set_stays before update on item_set
begin
    select raise(abort, 'what was said of a set is not changed; say what holds now');
end;
create trigger item_set_kept before delete on item_set
begin
    select raise(abort, 'what was said of a set is not deleted; say what holds now');
end;

create table item_set_item (
    number integer not null,
    version integer not null,
    item_id blob not null references item (id),
    primary key (number, version, item_id),
    foreign key (number, version) references item_set (number, version)
) strict, without rowid;
create trigger item_set_item_stays before update on item_set_item
begin
    select raise(abort, 'what was said of a set is not changed; say what holds now');
end;
create trigger item_set_item_kept before delete on item_set_item
begin
    select raise(abort, 'what was said of a set is not deleted; say what holds now');
end;
