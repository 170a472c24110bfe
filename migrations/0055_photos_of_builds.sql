-- Photos hang on builds too: the same table with one word more in its check.
create table attached_now (
    id blob primary key check (length(id) = 16),
    subject_kind text not null check (subject_kind in ('request', 'lot', 'part', 'build')),
    -- Number of the request or build, or code of the lot or part.
    subject text not null check (length(subject) between 1 and 40),
    hash blob not null references attachment (hash),
    -- As it was sent, cleaned: shown, never used to find or to judge anything.
    file_name text not null check (length(file_name) between 1 and 100),
    caption text not null check (length(caption) <= 200),
    person_id blob not null references person (id),
    -- The name as it was then.
    added_by text not null check (length(added_by) between 1 and 60),
    added_ms integer not null,
    journal_sequence integer not null references journal (sequence),
    -- Taken off it stays on record; all four are set, once.
    off_reason text check (length(off_reason) between 1 and 200),
    off_by text check (length(off_by) between 1 and 60),
    off_ms integer,
    off_sequence integer references journal (sequence),
    check ((off_reason is null) = (off_by is null)),
    check ((off_reason is null) = (off_ms is null)),
    check ((off_reason is null) = (off_sequence is null))
) strict;
insert into attached_now
    (id, subject_kind, subject, hash, file_name, caption, person_id, added_by, added_ms, journal_sequence,
     off_reason, off_by, off_ms, off_sequence)
select id, subject_kind, subject, hash, file_name, caption, person_id, added_by, added_ms, journal_sequence,
    off_reason, off_by, off_ms, off_sequence
from attached;
drop table attached;
alter table attached_now rename to attached;
create unique index attached_once on attached (subject_kind, subject, hash) where off_reason is null;
create index attached_by_hash on attached (hash);

create trigger attached_to_something before insert on attached
when not case new.subject_kind
    when 'request' then exists (select 1 from request where cast(number as text) = new.subject)
    when 'part' then exists (select 1 from part where code = new.subject)
    when 'build' then exists (select 1 from build where cast(number as text) = new.subject)
    else exists (select 1 from lot where code = new.subject)
end
begin
    select raise(abort, 'there is no such request, lot, part or build');
end;
create trigger attached_stays before update on attached
when old.off_reason is not null
    or new.id is not old.id or new.subject_kind is not old.subject_kind
    or new.subject is not old.subject or new.hash is not old.hash
    or new.file_name is not old.file_name or new.caption is not old.caption
    or new.person_id is not old.person_id or new.added_by is not old.added_by
    or new.added_ms is not old.added_ms or new.journal_sequence is not old.journal_sequence
begin
    select raise(abort, 'a photo or paper is taken off once, and not changed otherwise');
end;
create trigger attached_kept before delete on attached
begin
    select raise(abort, 'a photo or paper is not deleted; take it off');
end;

-- When somebody who said yes to a release wants the part looked at again, in their words.
alter table answer add column next_look text not null default '' check (length(next_look) <= 200);
