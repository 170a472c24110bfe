-- What the site wrote down of the rules by which dangerous goods travel, for each mode. It warns and declares
-- nothing. Added to and never changed; the newest version of a mode holds as a whole.

create table carriage_said (
    mode text not null check (mode in ('road', 'sea', 'air')),
    version integer not null check (version >= 1),
    -- Title and edition of the rules.
    edition text not null check (length(edition) between 1 and 200),
    -- The most points of one load, in thousandths; null: the mode counts none.
    points_milli integer check (points_milli between 1 and 1000000000),
    entered_by text not null check (length(entered_by) between 1 and 80),
    entered_ms integer not null,
    primary key (mode, version)
) strict, without rowid;
create trigger carriage_said_stays before update on carriage_said
begin
    select raise(abort, 'what was written down of the rules is not changed; write down what holds now');
end;
create trigger carriage_said_kept before delete on carriage_said
begin
    select raise(abort, 'what was written down of the rules is not deleted; write down what holds now');
end;

create table carriage_rule (
    mode text not null,
    version integer not null,
    position integer not null check (position >= 1),
    -- Null: of any.
    un integer check (un between 1 and 9999),
    class text check (length(class) between 1 and 4),
    packing_group text check (packing_group in ('I', 'II', 'III')),
    refused integer not null check (refused in (0, 1)),
    -- The most in one package and in one load: grams, millilitres, or millilitres of water capacity.
    package integer check (package > 0),
    most integer check (most > 0),
    -- For each kilogram or litre.
    points integer not null check (points between 0 and 1000),
    note text not null check (length(note) between 1 and 400),
    primary key (mode, version, position),
    foreign key (mode, version) references carriage_said (mode, version)
) strict, without rowid;
create trigger carriage_rule_stays before update on carriage_rule
begin
    select raise(abort, 'what was written down of the rules is not changed; write down what holds now');
end;
create trigger carriage_rule_kept before delete on carriage_rule
begin
    select raise(abort, 'what was written down of the rules is not deleted; write down what holds now');
end;

create table carriage_apart (
    mode text not null,
    version integer not null,
    position integer not null check (position >= 1),
    one text not null check (length(one) between 1 and 4),
    other text not null check (length(other) between 1 and 4),
    -- What the rules say, as 'separated from'.
    what text not null check (length(what) between 1 and 200),
    can_be_kept integer not null check (can_be_kept in (0, 1)),
    primary key (mode, version, position),
    foreign key (mode, version) references carriage_said (mode, version)
) strict, without rowid;
create trigger carriage_apart_stays before update on carriage_apart
begin
    select raise(abort, 'what was written down of the rules is not changed; write down what holds now');
end;
create trigger carriage_apart_kept before delete on carriage_apart
begin
    select raise(abort, 'what was written down of the rules is not deleted; write down what holds now');
end;
