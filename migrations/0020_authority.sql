-- What each flag of a part asks for here, what those asked have answered, how a request was sorted, and
-- how far the work on it has come. All of it is added to and never changed.

-- A site's own rule for a flag; the newest holds, and a flag without one has the usual rule.
create table flag_rule (
    journal_sequence integer not null references journal (sequence),
    flag text not null check (flag in ('form-only', 'guard', 'food-or-water', 'carries-load', 'can-injure', 'lifts',
        'holds-pressure', 'steers-or-brakes', 'explosive-area', 'unknown')),
    build text not null check (build in ('crew', 'trial', 'ask', 'refuse')),
    build_written integer not null check (build_written in (0, 1)),
    release_written integer not null check (release_written in (0, 1)),
    -- Why this site does otherwise, and who said so.
    reason text not null check (length(reason) between 1 and 400),
    said_by text not null check (length(said_by) between 1 and 80),
    said_ms integer not null,
    primary key (journal_sequence, flag)
) strict, without rowid;

create table flag_rule_who (
    journal_sequence integer not null,
    flag text not null,
    about text not null check (about in ('build', 'release')),
    who text not null check (who in ('cell-lead', 'owners-engineer', 'lifting-examiner', 'pressure-inspector', 'licensed-body')),
    primary key (journal_sequence, flag, about, who),
    foreign key (journal_sequence, flag) references flag_rule (journal_sequence, flag)
) strict, without rowid;

create trigger flag_rule_stays before update on flag_rule
begin
    select raise(abort, 'a rule is not changed; set a new one');
end;
create trigger flag_rule_kept before delete on flag_rule
begin
    select raise(abort, 'a rule is not deleted; set a new one');
end;
create trigger flag_rule_who_stays before update on flag_rule_who
begin
    select raise(abort, 'a rule is not changed; set a new one');
end;
create trigger flag_rule_who_kept before delete on flag_rule_who
begin
    select raise(abort, 'a rule is not deleted; set a new one');
end;

-- A yes is one kind of answer; a no and an answer still awaited are others.
alter table yes rename to answer;
drop trigger yes_stays;
drop trigger yes_kept;
alter table answer add column about text not null default 'build' check (about in ('build', 'release'));
alter table answer add column said text not null default 'yes' check (said in ('yes', 'no', 'awaited'));
-- How it came. Of those recorded before this was asked nobody said that they are written.
alter table answer add column came text not null default 'in-person' check (came in ('in-person', 'paper', 'radio', 'mail'));
alter table answer add column limits text not null default '' check (length(limits) <= 2000);
-- A yes to one revision of a recipe alone.
alter table answer add column only_recipe text check (length(only_recipe) between 1 and 40);
alter table answer add column only_revision integer check ((only_revision is null) = (only_recipe is null));
-- When an awaited answer is expected; null: nobody said.
alter table answer add column expected_ms integer check (expected_ms is null or said = 'awaited');
-- Who typed it in, if that was asked.
alter table answer add column typed_by text not null default '' check (length(typed_by) <= 80);
-- The paper itself, if it was added.
alter table answer add column paper_hash blob references attachment (hash);
create index answer_of_request on answer (request_id, given_ms);
create trigger answer_stays before update on answer
begin
    select raise(abort, 'an answer is not changed; record a new one');
end;
create trigger answer_kept before delete on answer
begin
    select raise(abort, 'an answer is not deleted; record that it was taken back');
end;

-- Ways again, with the stand-in and the reason for each.
create table request_way_now (
    request_id blob not null references request (id),
    position integer not null check (position >= 1),
    kind text not null check (kind in ('recipe', 'true-part', 'stand-in')),
    recipe_code text,
    delivery_id blob references delivery (id),
    expected_ms integer,
    fit_min integer check (fit_min >= 1),
    crew integer check (crew between 0 and 20),
    -- Of a stand-in: when it must be off, minutes that the swap takes, and what the second build costs in
    -- the site's word for loss.
    off_by_ms integer,
    swap_min integer check (swap_min between 1 and 20160),
    second_build integer check (second_build between 0 and 1000000000),
    reason text not null default '' check (length(reason) <= 400),
    primary key (request_id, position),
    check ((recipe_code is not null) = (kind in ('recipe', 'stand-in'))),
    check ((expected_ms is not null and fit_min is not null and crew is not null) = (kind = 'true-part')),
    check ((off_by_ms is not null and swap_min is not null and second_build is not null) = (kind = 'stand-in'))
) strict, without rowid;
insert into request_way_now (request_id, position, kind, recipe_code, delivery_id, expected_ms, fit_min, crew)
select request_id, position, kind, recipe_code, delivery_id, expected_ms, fit_min, crew from request_way;
drop table request_way;
alter table request_way_now rename to request_way;

-- What was decided of a request: the last row says where it stands.
create table request_decision (
    journal_sequence integer primary key references journal (sequence),
    request_id blob not null references request (id),
    decision text not null check (decision in ('sorted', 'refused', 'withdrawn', 'reopened', 'sent-back', 'served')),
    reason text not null check (length(reason) between 1 and 400),
    decided_by text not null check (length(decided_by) between 1 and 80),
    decided_ms integer not null
) strict;
create index request_decision_of on request_decision (request_id, journal_sequence);
create trigger request_decision_stays before update on request_decision
begin
    select raise(abort, 'a decision is not changed; decide anew');
end;
create trigger request_decision_kept before delete on request_decision
begin
    select raise(abort, 'a decision is not deleted; decide anew');
end;

-- Operations of a recipe that are done for a request; sent back to be sorted, it begins anew.
create table work_done (
    journal_sequence integer primary key references journal (sequence),
    request_id blob not null references request (id),
    recipe_id blob not null,
    position integer not null,
    ended_ms integer not null,
    done_by text not null check (length(done_by) between 1 and 80),
    person_id blob not null references person (id),
    note text not null check (length(note) <= 400),
    foreign key (recipe_id, position) references recipe_operation (recipe_id, position)
) strict;
create index work_done_of on work_done (request_id, journal_sequence);
create trigger work_done_stays before update on work_done
begin
    select raise(abort, 'what was done is not changed; send the request back to be sorted');
end;
create trigger work_done_kept before delete on work_done
begin
    select raise(abort, 'what was done is not deleted; send the request back to be sorted');
end;

-- Null: everybody on duty.
alter table duty_hours add column sprayers integer check (sprayers between 0 and crew);
alter table duty_hours add column machinists integer check (machinists between 0 and crew);
