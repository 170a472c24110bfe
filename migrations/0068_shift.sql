-- Shifts and their handovers. All of it is added to and never changed.

create table handover (
    number integer primary key check (number >= 1),
    -- The shift that tells it.
    shift integer not null references shift (number),
    -- What was told, whole, as core::shift::Record in canonical JSON, with the facts to look at and what made its risk.
    told text not null check (json_valid(told)),
    risk text not null check (risk in ('ordinary', 'step-up')),
    -- Nobody was there to hear it: who signs in next opens it first.
    left_for_reader integer not null check (left_for_reader in (0, 1)),
    told_by text not null check (length(told_by) between 1 and 80),
    person_id blob not null references person (id),
    told_ms integer not null,
    journal_sequence integer not null unique references journal (sequence)
) strict;

-- How a handover ended: taken over, or refused, in which case it is told anew.
create table handover_end (
    number integer primary key references handover (number),
    taken integer not null check (taken in (0, 1)),
    -- What was heard, as core::shift::Heard in canonical JSON; null where it was refused.
    heard text check (json_valid(heard)),
    reason text not null check (length(reason) <= 400),
    ended_by text not null check (length(ended_by) between 1 and 80),
    person_id blob not null references person (id),
    ended_ms integer not null,
    journal_sequence integer not null unique references journal (sequence),
    check ((taken = 1) = (heard is not null)),
    check ((taken = 1) = (reason = ''))
) strict;
create trigger handover_is_heard_by_another before insert on handover_end
when new.taken = 1 and new.person_id = (select person_id from handover where number = new.number)
begin
    select raise(abort, 'nobody takes over their own handover');
end;
create trigger handover_one_at_a_time before insert on handover
when exists (select 1 from handover where number not in (select number from handover_end))
begin
    select raise(abort, 'a handover waits to be taken over');
end;

-- What was added to a handover after it was told.
create table handover_line (
    journal_sequence integer primary key references journal (sequence),
    handover integer not null references handover (number),
    text text not null check (length(text) between 1 and 400),
    added_by text not null check (length(added_by) between 1 and 80),
    added_ms integer not null
) strict;

-- A shift lasts until the next is opened.
create table shift (
    number integer primary key check (number >= 1),
    -- The handover that was taken over; null where there was none.
    handover integer unique references handover (number),
    -- Why there was none.
    why text not null check (length(why) <= 400),
    opened_by text not null check (length(opened_by) between 1 and 80),
    person_id blob not null references person (id),
    opened_ms integer not null,
    journal_sequence integer not null unique references journal (sequence),
    check ((handover is null) = (why <> ''))
) strict;

create table shift_note (
    journal_sequence integer primary key references journal (sequence),
    shift integer not null references shift (number),
    kind text not null check (kind in ('note', 'incident', 'near-miss')),
    text text not null check (length(text) between 1 and 1000),
    happened_ms integer not null,
    written_by text not null check (length(written_by) between 1 and 80),
    written_ms integer not null
) strict;
create index shift_note_of on shift_note (shift, journal_sequence);

-- The handover of a shift as it is being written, field by field; the newest version of a field stands. A version is
-- one saving, so that two who write at one time are told apart.
create table handover_draft (
    shift integer not null references shift (number),
    field text not null check (length(field) between 1 and 80),
    version integer not null check (version >= 1),
    value text not null check (length(value) <= 1000),
    written_by text not null check (length(written_by) between 1 and 80),
    journal_sequence integer not null references journal (sequence),
    primary key (shift, field, version)
) strict, without rowid;

-- What goes from shift to shift until somebody closes it by name.
create table carried (
    number integer primary key check (number >= 1),
    kind text not null check (kind in ('promise', 'must')),
    text text not null check (length(text) between 1 and 200),
    due_ms integer not null,
    written_by text not null check (length(written_by) between 1 and 80),
    written_ms integer not null,
    journal_sequence integer not null unique references journal (sequence)
) strict;
create table carried_closed (
    number integer primary key references carried (number),
    how text not null check (length(how) between 1 and 200),
    closed_by text not null check (length(closed_by) between 1 and 80),
    closed_ms integer not null,
    journal_sequence integer not null unique references journal (sequence)
) strict;

create trigger handover_stays before update on handover
begin
    select raise(abort, 'a handover is not changed; add a further record');
end;
create trigger handover_kept before delete on handover
begin
    select raise(abort, 'a handover is not deleted; add a further record');
end;
create trigger handover_end_stays before update on handover_end
begin
    select raise(abort, 'the end of a handover is not changed; add a further record');
end;
create trigger handover_end_kept before delete on handover_end
begin
    select raise(abort, 'the end of a handover is not deleted; add a further record');
end;
create trigger handover_line_stays before update on handover_line
begin
    select raise(abort, 'a line added to a handover is not changed; add a further record');
end;
create trigger handover_line_kept before delete on handover_line
begin
    select raise(abort, 'a line added to a handover is not deleted; add a further record');
end;
create trigger shift_stays before update on shift
begin
    select raise(abort, 'a shift is not changed; add a further record');
end;
create trigger shift_kept before delete on shift
begin
    select raise(abort, 'a shift is not deleted; add a further record');
end;
create trigger shift_note_stays before update on shift_note
begin
    select raise(abort, 'a note of a shift is not changed; add a further record');
end;
create trigger shift_note_kept before delete on shift_note
begin
    select raise(abort, 'a note of a shift is not deleted; add a further record');
end;
create trigger handover_draft_stays before update on handover_draft
begin
    select raise(abort, 'a draft is not changed; add a further record');
end;
create trigger handover_draft_kept before delete on handover_draft
begin
    select raise(abort, 'a draft is not deleted; add a further record');
end;
create trigger carried_stays before update on carried
begin
    select raise(abort, 'a line that is carried over is not changed; add a further record');
end;
create trigger carried_kept before delete on carried
begin
    select raise(abort, 'a line that is carried over is not deleted; add a further record');
end;
create trigger carried_closed_stays before update on carried_closed
begin
    select raise(abort, 'what was closed is not changed; add a further record');
end;
create trigger carried_closed_kept before delete on carried_closed
begin
    select raise(abort, 'what was closed is not deleted; add a further record');
end;
