-- The sheets that were imported, as they were sent but for line ends, by the hash that their journal entry
-- holds: what a row said can be looked up for good.
create table sheet_text (
    -- SHA-256 of the text.
    hash blob primary key check (length(hash) = 32),
    text text not null check (length(cast(text as blob)) between 1 and 1048576),
    -- The entry of the first import of it.
    journal_sequence integer not null references journal (sequence)
) strict;
create trigger sheet_text_stays before update on sheet_text
begin
    select raise(abort, 'an imported sheet is not changed; import another');
end;
create trigger sheet_text_kept before delete on sheet_text
begin
    select raise(abort, 'an imported sheet is not deleted');
end;
