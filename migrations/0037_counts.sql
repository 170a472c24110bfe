-- Counts: which containers are weighed, what was found before anybody saw the book, and what was made of it.
create table stock_count (
    id blob primary key check (length(id) = 16),
    number integer not null unique check (number >= 1),
    -- Which containers: all of them, or those of lots that are due.
    scope text not null check (scope in ('all', 'due')),
    begun_ms integer not null,
    begun_by text not null,
    journal_sequence integer not null references journal (sequence)
) strict;
create table stock_count_container (
    count_id blob not null references stock_count (id),
    container_id blob not null references container (id),
    primary key (count_id, container_id)
) strict, without rowid;
-- What was weighed; the newest of a container holds.
create table stock_count_found (
    journal_sequence integer not null references journal (sequence),
    count_id blob not null references stock_count (id),
    container_id blob not null references container (id),
    found_mg integer not null check (found_mg >= 0),
    -- What the book said at that moment.
    book_mg integer not null,
    -- What had been drawn from it since it was counted last; its allowance is a share of that.
    drawn_mg integer not null check (drawn_mg >= 0),
    at_ms integer not null,
    found_by text not null,
    person_id blob not null references person (id),
    primary key (journal_sequence, container_id)
) strict, without rowid;
create index stock_count_found_of on stock_count_found (count_id, container_id, journal_sequence);
create index stock_count_found_in on stock_count_found (container_id, journal_sequence);
-- The count is posted: the book says what was found.
create table stock_count_posted (
    count_id blob primary key references stock_count (id),
    journal_sequence integer not null references journal (sequence)
) strict;
create trigger stock_count_stays before update on stock_count begin select raise(abort, 'a count stays on record'); end;
create trigger stock_count_kept before delete on stock_count begin select raise(abort, 'a count stays on record'); end;
create trigger stock_count_found_stays before update on stock_count_found begin select raise(abort, 'what was found stays on record'); end;
create trigger stock_count_found_kept before delete on stock_count_found begin select raise(abort, 'what was found stays on record'); end;
create trigger stock_count_posted_stays before update on stock_count_posted begin select raise(abort, 'a posted count stays posted'); end;
create trigger stock_count_posted_kept before delete on stock_count_posted begin select raise(abort, 'a posted count stays posted'); end;
