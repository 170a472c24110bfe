-- Photos and papers, kept by the hash of their bytes in the same file as all else, so that one backup
-- holds both. What is stored was made anew from what was sent: upright, shrunk, without its metadata.

create table attachment (
    -- SHA-256 of the stored bytes.
    hash blob primary key check (length(hash) = 32),
    media_type text not null check (media_type in ('image/jpeg', 'image/png', 'application/pdf')),
    size integer not null check (size between 1 and 16777216),
    -- Pixels of a picture, or pages of a paper.
    width integer check (width between 1 and 2560),
    height integer check (height between 1 and 2560),
    pages integer check (pages between 1 and 50),
    -- A small JPEG of a picture.
    thumbnail blob check (length(thumbnail) between 1 and 131072),
    -- Last, so that a list of thumbnails does not read through it.
    bytes blob not null,
    check (length(bytes) = size),
    check ((media_type = 'application/pdf') = (pages is not null)),
    check ((pages is null) = (width is not null and height is not null and thumbnail is not null))
) strict;
create trigger attachment_stays before update on attachment
begin
    select raise(abort, 'a photo or paper is not changed; add another');
end;
create trigger attachment_kept before delete on attachment
begin
    select raise(abort, 'a photo or paper is not deleted; take it off');
end;

-- What a photo or paper belongs to, and who added it.
create table attached (
    id blob primary key check (length(id) = 16),
    subject_kind text not null check (subject_kind in ('request', 'lot')),
    -- Number of the request, or code of the lot.
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
create unique index attached_once on attached (subject_kind, subject, hash) where off_reason is null;
create index attached_by_hash on attached (hash);

create trigger attached_to_something before insert on attached
when not case new.subject_kind
    when 'request' then exists (select 1 from request where cast(number as text) = new.subject)
    else exists (select 1 from lot where code = new.subject)
end
begin
    select raise(abort, 'there is no such request or lot');
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
