-- What a part is made of, and for which metals a recipe holds: powder bonds to one and peels off another.

create table metal (
    id blob primary key check (length(id) = 16),
    code text not null unique check (length(code) between 1 and 40),
    name text not null unique collate nocase check (length(name) between 1 and 80)
) strict;

-- No row for a recipe: it holds for any, because its part is built free-standing.
create table recipe_base_metal (
    recipe_id blob not null references recipe (id),
    metal_id blob not null references metal (id),
    primary key (recipe_id, metal_id)
) strict, without rowid;

-- Empty: entered before this was asked.
alter table recipe add column written_by text not null default '' check (length(written_by) <= 80);

-- What the broken part is made of. Null: nobody has said.
alter table request add column base_metal_id blob references metal (id);
-- 1: by its papers or a test; 0: somebody's guess.
alter table request add column base_metal_known integer not null default 0 check (base_metal_known in (0, 1));
