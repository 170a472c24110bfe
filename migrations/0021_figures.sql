-- Forms edit the figures of the cell and of a powder's metal.

alter table cell add column version integer not null default 1 check (version > 0);
alter table powder add column version integer not null default 1 check (version > 0);
