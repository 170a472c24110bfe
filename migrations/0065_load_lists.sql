-- Load lists: what the depot is asked to send with a trip, frozen by number, with numbered additions, and what the depot
-- answers. All of it is added to and never changed. The lines that a delivery is expected to bring say which line of a
-- list they answer.

create table load_list (
    number integer primary key check (number >= 1),
    -- One list for each trip; what comes after it is an addition.
    delivery_id blob not null unique references delivery (id),
    trip text not null check (length(trip) between 1 and 40),
    trip_name text not null check (length(trip_name) between 1 and 80),
    mode text not null check (mode in ('road', 'sea', 'air')),
    closes_ms integer not null,
    -- What the trip allowed when the list was frozen: id, words, unit and the most in thousandths of it, as JSON.
    limits text not null check (json_valid(limits))
) strict;

-- The list itself is addition 0.
create table load_list_addition (
    list_number integer not null references load_list (number),
    number integer not null check (number >= 0),
    reason text not null check (length(reason) <= 400),
    -- Pairs of stock numbers that must be kept apart on the vehicle, with all that is asked for then, as JSON.
    apart text not null check (json_valid(apart)),
    added_by text not null check (length(added_by) between 1 and 80),
    added_ms integer not null,
    journal_sequence integer not null references journal (sequence),
    primary key (list_number, number),
    check ((reason = '') = (number = 0))
) strict, without rowid;

-- With all that the depot must know of the item, as it was then.
create table load_list_line (
    list_number integer not null,
    number integer not null check (number >= 1),
    addition integer not null,
    -- The earlier line of which it takes units back; null: it asks for them.
    takes_back integer check (takes_back < number),
    item_id blob not null references item (id),
    name text not null check (length(name) between 1 and 80),
    unit text not null check (length(unit) between 1 and 40),
    units integer not null check (units between 1 and 10000),
    net_g integer not null check (net_g >= 1),
    gross_g integer not null check (gross_g >= net_g),
    x_mm integer not null check (x_mm >= 1),
    y_mm integer not null check (y_mm >= 1),
    z_mm integer not null check (z_mm >= 1),
    -- The dangerous-goods entry in one line.
    goods text not null check (length(goods) between 1 and 300),
    -- What one unit takes of each limit, as JSON.
    uses text not null check (json_valid(uses)),
    priority integer not null check (priority between 1 and 9),
    needed_by_ms integer,
    reason text not null check (length(reason) between 1 and 400),
    one_lot integer not null check (one_lot in (0, 1)),
    -- Stock numbers, parted by blanks.
    substitutes text not null,
    set_number integer,
    primary key (list_number, number),
    foreign key (list_number, addition) references load_list_addition (list_number, number),
    foreign key (list_number, takes_back) references load_list_line (list_number, number)
) strict, without rowid;
create trigger load_list_line_not_below_zero before insert on load_list_line
when new.takes_back is not null and new.units > (
    select l.units - coalesce((select sum(b.units) from load_list_line b
      where b.list_number = l.list_number and b.takes_back = l.number), 0)
    from load_list_line l where l.list_number = new.list_number and l.number = new.takes_back)
begin
    select raise(abort, 'no more is taken back of a line than it asks for');
end;

-- The depot's answer; the newest of a list holds.
create table load_answer (
    list_number integer not null references load_list (number),
    number integer not null check (number >= 1),
    answered_by text not null check (length(answered_by) <= 80),
    -- Null: as the trip said.
    arrival_ms integer,
    entered_by text not null check (length(entered_by) between 1 and 80),
    entered_ms integer not null,
    journal_sequence integer not null references journal (sequence),
    primary key (list_number, number)
) strict, without rowid;

create table load_answer_line (
    list_number integer not null,
    number integer not null,
    line integer not null,
    sent integer not null check (sent between 0 and 10000),
    cut integer not null check (cut between 0 and 10000),
    later integer not null check (later between 0 and 10000),
    later_on text check (later_on glob '????-??-??'),
    -- What comes in place of the rest of the line, and how many units of it.
    instead_id blob references item (id),
    instead_units integer check (instead_units between 1 and 10000),
    consignment text not null check (length(consignment) <= 40),
    note text not null check (length(note) <= 200),
    primary key (list_number, number, line),
    foreign key (list_number, number) references load_answer (list_number, number),
    foreign key (list_number, line) references load_list_line (list_number, number),
    check ((instead_id is null) = (instead_units is null)),
    check (later > 0 or later_on is null)
) strict, without rowid;

-- What somebody wrote down to go back with the vehicle; the newest row of a thing holds, and with 0 pieces it stays.
create table load_return (
    journal_sequence integer primary key references journal (sequence),
    list_number integer not null references load_list (number),
    what text not null check (length(what) between 1 and 120),
    pieces integer not null check (pieces between 0 and 10000),
    gross_g integer not null check (gross_g between 0 and 20000000),
    note text not null check (length(note) <= 200),
    entered_by text not null check (length(entered_by) between 1 and 80),
    entered_ms integer not null
) strict;
create index load_return_of on load_return (list_number, journal_sequence);

-- The line of a load list that a line of a delivery answers; null: it was announced otherwise.
alter table delivery_line add column list_number integer references load_list (number);
alter table delivery_line add column list_line integer;

create trigger load_list_stays before update on load_list
begin
    select raise(abort, 'a load list is frozen; add to it');
end;
create trigger load_list_kept before delete on load_list
begin
    select raise(abort, 'a load list is frozen; add to it');
end;
create trigger load_list_addition_stays before update on load_list_addition
begin
    select raise(abort, 'an addition is frozen; make another');
end;
create trigger load_list_addition_kept before delete on load_list_addition
begin
    select raise(abort, 'an addition is frozen; make another');
end;
create trigger load_list_line_stays before update on load_list_line
begin
    select raise(abort, 'a line of a load list is frozen; make an addition');
end;
create trigger load_list_line_kept before delete on load_list_line
begin
    select raise(abort, 'a line of a load list is frozen; make an addition');
end;
create trigger load_answer_stays before update on load_answer
begin
    select raise(abort, 'an answer is not changed; enter the newer one');
end;
create trigger load_answer_kept before delete on load_answer
begin
    select raise(abort, 'an answer is not changed; enter the newer one');
end;
create trigger load_answer_line_stays before update on load_answer_line
begin
    select raise(abort, 'an answer is not changed; enter the newer one');
end;
create trigger load_answer_line_kept before delete on load_answer_line
begin
    select raise(abort, 'an answer is not changed; enter the newer one');
end;
create trigger load_return_stays before update on load_return
begin
    select raise(abort, 'what was to go back stays on record; say what holds now');
end;
create trigger load_return_kept before delete on load_return
begin
    select raise(abort, 'what was to go back stays on record; say what holds now');
end;
