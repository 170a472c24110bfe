-- What is on record of a broken part beside its report: as it was reported, as it came to the cell,
-- and as it was put right. The row of the request holds what stands; each saying of it is kept.

alter table request add column spare text not null default 'unknown' check (spare in ('unknown', 'no', 'yes'));
-- Where the spare lies.
alter table request add column spare_where text not null default ''
    check (length(spare_where) <= 80 and (spare = 'yes') = (spare_where <> ''));
-- Of the tag that hangs on the broken part.
alter table request add column tag text check (length(tag) between 1 and 20);
alter table request add column mass_g integer check (mass_g between 1 and 50000000);
create unique index request_tag_once on request (tag) where state = 'open';

create table request_detail (
    request_id blob not null references request (id),
    -- 1 is what was reported.
    sequence integer not null check (sequence >= 1),
    entered_by text not null check (length(entered_by) between 1 and 80),
    entered_ms integer not null,
    -- Why what was said before is put right; empty where something is only added.
    why text not null default '' check (length(why) <= 200),
    part_name text not null check (length(part_name) between 1 and 80),
    damage text not null check (damage in ('damaged', 'worn', 'interim')),
    description text not null check (length(description) <= 2000),
    asked_by text not null check (length(asked_by) between 1 and 80),
    needed_by_ms integer,
    danger integer not null check (danger in (0, 1)),
    at_cell_ms integer,
    -- When it was received at the cell; null: not yet.
    arrived_ms integer,
    spare text not null check (spare in ('unknown', 'no', 'yes')),
    spare_where text not null check (length(spare_where) <= 80 and (spare = 'yes') = (spare_where <> '')),
    tag text check (length(tag) between 1 and 20),
    mass_g integer check (mass_g between 1 and 50000000),
    base_metal_id blob references metal (id),
    base_metal_known integer not null check (base_metal_known in (0, 1)),
    serial text not null default '' check (length(serial) <= 40),
    crack_check text not null default 'not-done' check (crack_check in ('found', 'none', 'not-done')),
    primary key (request_id, sequence),
    check (base_metal_id is not null or base_metal_known = 0)
) strict, without rowid;

insert into request_detail (request_id, sequence, entered_by, entered_ms, part_name, damage, description,
    asked_by, needed_by_ms, danger, at_cell_ms, spare, spare_where, tag, mass_g, base_metal_id,
    base_metal_known)
select id, 1, reported_by, reported_ms, part_name, damage, description, asked_by, needed_by_ms, danger,
    at_cell_ms, spare, spare_where, tag, mass_g, base_metal_id, base_metal_known from request;

create trigger request_reported after insert on request
begin
    insert into request_detail (request_id, sequence, entered_by, entered_ms, part_name, damage,
        description, asked_by, needed_by_ms, danger, at_cell_ms, spare, spare_where, tag, mass_g,
        base_metal_id, base_metal_known)
    values (new.id, 1, new.reported_by, new.reported_ms, new.part_name, new.damage, new.description,
        new.asked_by, new.needed_by_ms, new.danger, new.at_cell_ms, new.spare, new.spare_where, new.tag,
        new.mass_g, new.base_metal_id, new.base_metal_known);
end;
create trigger request_detail_next before insert on request_detail
when new.sequence is not
    (select coalesce(max(sequence), 0) + 1 from request_detail where request_id = new.request_id)
begin
    select raise(abort, 'what is said of a request is numbered without a gap');
end;
-- The newest holds.
create trigger request_detail_holds after insert on request_detail when new.sequence > 1
begin
    update request set part_name = new.part_name, damage = new.damage, description = new.description,
        asked_by = new.asked_by, needed_by_ms = new.needed_by_ms, danger = new.danger,
        at_cell_ms = new.at_cell_ms, spare = new.spare, spare_where = new.spare_where, tag = new.tag,
        mass_g = new.mass_g, base_metal_id = new.base_metal_id, base_metal_known = new.base_metal_known
    where id = new.request_id;
end;
create trigger request_detail_stays before update on request_detail
begin
    select raise(abort, 'what was said of a request is not changed; enter what is right');
end;
create trigger request_detail_kept before delete on request_detail
begin
    select raise(abort, 'what was said of a request is not deleted; enter what is right');
end;
