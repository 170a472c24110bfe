-- The journal is looked through by person, by time and by the kind of thing, each with its newest entries first.
create index journal_by_actor on journal (actor);
create index journal_by_time on journal (time);
create index journal_by_subject_kind on journal (subject_kind);

-- What was accepted stays on record, and so does what was not: the journal holds its sums.
create trigger lineup_kept before delete on lineup
begin
    select raise(abort, 'a line-up is not deleted; plan again');
end;
