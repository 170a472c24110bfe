-- After spraying: what is measured of a part and with what, what holds it, and what was judged of that. All of it is
-- added to and never changed, but for a draft's own lists.

-- What is measured of the finished part, by revision of its recipe: limits are what an approver signs. In nanometres.
create table recipe_size (
    recipe_id blob not null references recipe (id),
    position integer not null check (position >= 1),
    name text not null check (length(name) between 1 and 60),
    nominal_nm integer not null,
    lower_nm integer not null,
    upper_nm integer not null check (upper_nm >= lower_nm),
    -- In which unit the drawing gives it.
    unit text not null check (unit in ('mm', 'in')),
    primary key (recipe_id, position)
) strict, without rowid;

-- What the approver expects of its coupons, in thousandths of the property's unit.
create table recipe_coupon (
    recipe_id blob not null references recipe (id),
    position integer not null check (position >= 1),
    property text not null check (property in ('strength', 'hardness', 'density', 'porosity')),
    condition text not null check (condition in ('as-sprayed', 'heat-treated')),
    least integer check (least >= 0),
    most integer check (most >= least),
    -- Load of a hardness, in grams-force.
    load_gf integer check (load_gf between 1 and 100000),
    primary key (recipe_id, position),
    check (least is not null or most is not null),
    check ((load_gf is not null) = (property = 'hardness'))
) strict, without rowid;

create trigger recipe_size_stays before update on recipe_size
when (select state from recipe where id = old.recipe_id) <> 'draft'
begin
    select raise(abort, 'only a draft is changed; start a new revision');
end;
create trigger recipe_size_kept before delete on recipe_size
when (select state from recipe where id = old.recipe_id) <> 'draft'
begin
    select raise(abort, 'only a draft is changed; start a new revision');
end;
create trigger recipe_coupon_stays before update on recipe_coupon
when (select state from recipe where id = old.recipe_id) <> 'draft'
begin
    select raise(abort, 'only a draft is changed; start a new revision');
end;
create trigger recipe_coupon_kept before delete on recipe_coupon
when (select state from recipe where id = old.recipe_id) <> 'draft'
begin
    select raise(abort, 'only a draft is changed; start a new revision');
end;

-- Measuring tools. Range and resolution in steps of what it measures: nanometres, else thousandths of MPa, HV or %.
create table tool (
    id blob primary key check (length(id) = 16),
    code text not null unique check (length(code) between 1 and 40),
    name text not null check (length(name) between 1 and 80),
    measures text not null check (measures in ('length', 'strength', 'hardness', 'share')),
    least integer not null,
    most integer not null check (most > least),
    resolution integer not null check (resolution > 0)
) strict;
create trigger tool_stays before update on tool
begin
    select raise(abort, 'a tool is not changed; list it under another number');
end;
create trigger tool_kept before delete on tool
begin
    select raise(abort, 'a tool is not deleted; report it out');
end;

create table tool_calibration (
    journal_sequence integer primary key references journal (sequence),
    tool_id blob not null references tool (id),
    certificate text not null check (length(certificate) between 1 and 80),
    calibrated_ms integer not null,
    -- The last moment at which its figures count.
    due_ms integer not null check (due_ms >= calibrated_ms),
    entered_by text not null check (length(entered_by) between 1 and 80),
    entered_ms integer not null
) strict;
create index tool_calibration_of on tool_calibration (tool_id, calibrated_ms);
create trigger tool_calibration_stays before update on tool_calibration
begin
    select raise(abort, 'a calibration is not changed; enter a new one');
end;
create trigger tool_calibration_kept before delete on tool_calibration
begin
    select raise(abort, 'a calibration is not deleted; report the tool out');
end;

-- It does not show what is there, since when. It stands until the tool is calibrated after it.
create table tool_report (
    journal_sequence integer primary key references journal (sequence),
    tool_id blob not null references tool (id),
    since_ms integer not null,
    reason text not null check (length(reason) between 1 and 400),
    reported_by text not null check (length(reported_by) between 1 and 80),
    reported_ms integer not null check (reported_ms >= since_ms)
) strict;
create index tool_report_of on tool_report (tool_id, journal_sequence);
create trigger tool_report_stays before update on tool_report
begin
    select raise(abort, 'what was reported of a tool is not changed; calibrate it');
end;
create trigger tool_report_kept before delete on tool_report
begin
    select raise(abort, 'what was reported of a tool is not deleted; calibrate it');
end;

-- The size sheet: each dimension as it was found when the part was measured, within its limits or not.
create table size_found (
    journal_sequence integer not null references work_done (journal_sequence),
    recipe_id blob not null,
    position integer not null,
    found_nm integer not null,
    -- In which unit it was typed.
    unit text not null check (unit in ('mm', 'in')),
    tool_id blob not null references tool (id),
    primary key (journal_sequence, position),
    foreign key (recipe_id, position) references recipe_size (recipe_id, position)
) strict, without rowid;
create index size_found_by_tool on size_found (tool_id, journal_sequence);
create trigger size_found_stays before update on size_found
begin
    select raise(abort, 'what was found is not changed; measure it again');
end;
create trigger size_found_kept before delete on size_found
begin
    select raise(abort, 'what was found is not deleted; measure it again');
end;

-- A look for cracks: as the part came, or as an operation of its recipe, whose entry it then has.
create table crack_check (
    journal_sequence integer primary key references journal (sequence),
    request_id blob not null references request (id),
    at text not null check (at in ('arrival', 'operation')),
    method text not null check (length(method) between 1 and 80),
    found integer not null check (found in (0, 1)),
    -- Where, how long; needed where any is found.
    words text not null check (length(words) <= 400 and (found = 0 or words <> '')),
    -- Tool, or lot of the penetrant.
    agent text not null check (length(agent) between 1 and 80),
    looked_by text not null check (length(looked_by) between 1 and 80),
    looked_ms integer not null
) strict;
create index crack_check_of on crack_check (request_id, journal_sequence);
create trigger crack_check_stays before update on crack_check
begin
    select raise(abort, 'a look for cracks is not changed; look again');
end;
create trigger crack_check_kept before delete on crack_check
begin
    select raise(abort, 'a look for cracks is not deleted; look again');
end;

-- Questions on a part: nothing more is done to it before a named person has judged it.
create table part_hold (
    number integer primary key check (number >= 1),
    request_id blob not null references request (id),
    cause text not null check (cause in ('size', 'coupon', 'crack', 'furnace', 'tool', 'lot', 'hand')),
    -- The journal entry of what was found; null where somebody put it on hold by hand.
    of_sequence integer references journal (sequence),
    what text not null check (length(what) between 1 and 1000),
    held_by text not null check (length(held_by) between 1 and 80),
    person_id blob not null references person (id),
    held_ms integer not null,
    journal_sequence integer not null references journal (sequence)
) strict;
create index part_hold_of on part_hold (request_id, number);
create trigger part_hold_stays before update on part_hold
begin
    select raise(abort, 'a hold is not changed; judge it');
end;
create trigger part_hold_kept before delete on part_hold
begin
    select raise(abort, 'a hold is not deleted; judge it');
end;

create table part_judged (
    number integer primary key references part_hold (number),
    verdict text not null check (verdict in ('fit', 'rework', 'scrap')),
    -- Who said so, and how that came here; who recorded it.
    said_by text not null check (length(said_by) between 1 and 80),
    came text not null check (came in ('in-person', 'paper', 'radio', 'mail')),
    reason text not null check (length(reason) between 1 and 400),
    judged_by text not null check (length(judged_by) between 1 and 80),
    person_id blob not null references person (id),
    judged_ms integer not null,
    journal_sequence integer not null references journal (sequence)
) strict;
create trigger part_judged_stays before update on part_judged
begin
    select raise(abort, 'what was judged is not changed; put the part on hold again');
end;
create trigger part_judged_kept before delete on part_judged
begin
    select raise(abort, 'what was judged is not deleted; put the part on hold again');
end;
create trigger part_judged_by_another before insert on part_judged
when new.verdict = 'fit'
    and new.person_id = (select person_id from part_hold where number = new.number)
begin
    select raise(abort, 'who put a part on hold does not let it go again');
end;

-- Decisions again, with two words more: a piece thrown away, and one that goes back to an operation.
create table request_decision_now (
    journal_sequence integer primary key references journal (sequence),
    request_id blob not null references request (id),
    decision text not null check (decision in ('sorted', 'refused', 'withdrawn', 'reopened', 'sent-back', 'scrapped',
        'reworked', 'served')),
    reason text not null check (length(reason) between 1 and 400),
    decided_by text not null check (length(decided_by) between 1 and 80),
    decided_ms integer not null
) strict;
insert into request_decision_now (journal_sequence, request_id, decision, reason, decided_by, decided_ms)
select journal_sequence, request_id, decision, reason, decided_by, decided_ms from request_decision;
drop table request_decision;
alter table request_decision_now rename to request_decision;
create index request_decision_of on request_decision (request_id, journal_sequence);
create trigger request_decision_stays before update on request_decision
begin
    select raise(abort, 'a decision is not changed; decide anew');
end;
create trigger request_decision_kept before delete on request_decision
begin
    select raise(abort, 'a decision is not deleted; decide anew');
end;

-- The operation to which a part went back: from there on what was done counts no more, and stays on record.
create table rework (
    journal_sequence integer primary key references request_decision (journal_sequence),
    request_id blob not null references request (id),
    recipe_id blob not null,
    position integer not null,
    foreign key (recipe_id, position) references recipe_operation (recipe_id, position)
) strict;
create index rework_of on rework (request_id, journal_sequence);
create trigger rework_stays before update on rework
begin
    select raise(abort, 'a decision is not changed; decide anew');
end;
create trigger rework_kept before delete on rework
begin
    select raise(abort, 'a decision is not deleted; decide anew');
end;

-- Whether a part is released by somebody else than who sprayed it; the newest holds, and without one it is so.
create table release_rule (
    journal_sequence integer primary key references journal (sequence),
    other_person integer not null check (other_person in (0, 1)),
    reason text not null check (length(reason) between 1 and 400),
    said_by text not null check (length(said_by) between 1 and 80),
    said_ms integer not null
) strict;
create trigger release_rule_stays before update on release_rule
begin
    select raise(abort, 'a rule is not changed; set a new one');
end;
create trigger release_rule_kept before delete on release_rule
begin
    select raise(abort, 'a rule is not deleted; set a new one');
end;
