-- Builds whose powder and deposit were weighed: what the deposition efficiency of a stage is learned from.

-- How many builds or coupons the approval's efficiency and spread rest on.
alter table recipe_spray add column approval_builds integer not null default 4
    check (approval_builds between 1 and 1000);

-- Never changed. One that is wrong is struck out, and entered again.
create table weighed_build (
    id blob primary key check (length(id) = 16),
    number integer not null unique check (number >= 1),
    -- The revision and operation that were sprayed.
    recipe_id blob not null,
    position integer not null,
    -- Fed to the part, without starts, stops and coupons; what stuck to it. An efficiency of 0.02 to 1.
    fed_mg integer not null check (fed_mg between 1000 and 1000000000),
    deposited_mg integer not null check (deposited_mg <= fed_mg and deposited_mg * 50 >= fed_mg),
    -- Null: not told, or several.
    lot_id blob references lot (id),
    -- As it was then: the recipe's setting, and the throat as gauged last before it.
    gas text not null check (gas in ('nitrogen', 'helium', 'argon', 'air')),
    pressure_mbar integer not null check (pressure_mbar between 1000 and 100000),
    temperature_c integer not null check (temperature_c between 20 and 1200),
    throat_um integer not null check (throat_um between 500 and 10000),
    -- The request it was built for; null: none, or not told.
    request_id blob references request (id),
    built_ms integer not null,
    entered_ms integer not null check (entered_ms >= built_ms),
    entered_by text not null check (length(entered_by) between 1 and 80),
    note text not null default '' check (length(note) <= 200),
    journal_sequence integer not null references journal (sequence),
    foreign key (recipe_id, position) references recipe_spray (recipe_id, position)
) strict;
create index weighed_build_of_stage on weighed_build (recipe_id, position);
create trigger weighed_build_stays before update on weighed_build
begin
    select raise(abort, 'a weighed build is not changed; strike it out and enter it again');
end;
create trigger weighed_build_kept before delete on weighed_build
begin
    select raise(abort, 'a weighed build is not deleted; strike it out');
end;

-- A weighed build that counts no more.
create table struck_out (
    build_id blob primary key references weighed_build (id),
    reason text not null check (length(reason) between 1 and 200),
    struck_ms integer not null,
    struck_by text not null check (length(struck_by) between 1 and 80),
    journal_sequence integer not null references journal (sequence)
) strict, without rowid;
create trigger struck_out_stays before update on struck_out
begin
    select raise(abort, 'what was struck out stays so; enter the build again');
end;
create trigger struck_out_kept before delete on struck_out
begin
    select raise(abort, 'what was struck out stays so; enter the build again');
end;
