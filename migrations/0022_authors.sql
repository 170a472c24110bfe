-- Who wrote a revision is a person, whatever they are called meanwhile.

-- Names that somebody went by before; what was written under one was written by that person.
create table former_name (
    person_id blob not null references person (id),
    name text not null collate nocase check (length(name) between 1 and 60),
    primary key (person_id, name)
) strict, without rowid;
insert into former_name (person_id, name)
select distinct p.id, j.content ->> '$.before.name' collate nocase
from journal j
join person p on lower(hex(p.id)) = replace(j.content ->> '$.id', '-', '')
where j.kind = 'person.changed' and j.content ->> '$.before.name' <> j.content ->> '$.after.name'
on conflict do nothing;

-- Every name of every person, now and before.
create view person_called (person_id, name) as
select id, name from person
union
select person_id, name from former_name;

-- Everybody of the site who wrote a line of a revision; whoever a file names is known by that name.
create view recipe_written_by (recipe_id, person_id) as
select recipe_id, person_id from recipe_author
union
select r.id, c.person_id
from recipe r
join person_called c on c.name = trim(r.written_by) collate nocase;
