-- Which part of the catalogue is broken belongs to what is said of it: what was not listed, or chosen
-- wrongly, is put right as everything else that was reported.

-- Null: not listed in the catalogue.
alter table request_detail add column part_id blob references part (id);

drop trigger request_detail_stays;
update request_detail set part_id = (select part_id from request where id = request_id);
create trigger request_detail_stays before update on request_detail
begin
    select raise(abort, 'what was said of a request is not changed; enter what is right');
end;

drop trigger request_reported;
create trigger request_reported after insert on request
begin
    insert into request_detail (request_id, sequence, entered_by, entered_ms, part_id, part_name, damage,
        description, asked_by, needed_by_ms, danger, at_cell_ms, spare, spare_where, tag, mass_g,
        base_metal_id, base_metal_known)
    values (new.id, 1, new.reported_by, new.reported_ms, new.part_id, new.part_name, new.damage,
        new.description, new.asked_by, new.needed_by_ms, new.danger, new.at_cell_ms, new.spare,
        new.spare_where, new.tag, new.mass_g, new.base_metal_id, new.base_metal_known);
end;

-- The newest holds.
drop trigger request_detail_holds;
create trigger request_detail_holds after insert on request_detail when new.sequence > 1
begin
    update request set part_id = new.part_id, part_name = new.part_name, damage = new.damage,
        description = new.description, asked_by = new.asked_by, needed_by_ms = new.needed_by_ms,
        danger = new.danger, at_cell_ms = new.at_cell_ms, spare = new.spare,
        spare_where = new.spare_where, tag = new.tag, mass_g = new.mass_g,
        base_metal_id = new.base_metal_id, base_metal_known = new.base_metal_known
    where id = new.request_id;
end;
