-- What was said of a capability is kept: a new figure is a new version, and the newest holds.

create table need (
    capability_id blob not null references capability (id),
    version integer not null check (version >= 1),
    must_run integer not null check (must_run >= 0),
    said_by text not null check (length(said_by) between 1 and 80),
    said_ms integer not null,
    -- Who typed it in; empty: it came with the site's files.
    entered_by text not null check (length(entered_by) <= 80),
    entered_ms integer not null,
    primary key (capability_id, version)
) strict, without rowid;

create table need_asset (
    capability_id blob not null,
    version integer not null,
    position integer not null check (position >= 1),
    asset_id blob not null references asset (id),
    primary key (capability_id, version, position),
    unique (capability_id, version, asset_id),
    foreign key (capability_id, version) references need (capability_id, version)
) strict, without rowid;

-- The loss rate while so many of its assets are down; a row for each number from 0.
create table need_loss (
    capability_id blob not null,
    version integer not null,
    down integer not null check (down >= 0),
    likely_per_hour integer not null check (likely_per_hour between 0 and 1000000000),
    -- How far off the likely rate may be; null: nobody said.
    low_per_hour integer check (low_per_hour between 0 and likely_per_hour),
    high_per_hour integer check (high_per_hour between likely_per_hour and 1000000000),
    primary key (capability_id, version, down),
    foreign key (capability_id, version) references need (capability_id, version),
    check ((low_per_hour is null) = (high_per_hour is null))
) strict, without rowid;

insert into need (capability_id, version, must_run, said_by, said_ms, entered_by, entered_ms)
select id, 1, must_run, said_by, said_ms, '', said_ms from capability;

insert into need_asset (capability_id, version, position, asset_id)
select capability_id, 1, position, asset_id from capability_asset;

insert into need_loss (capability_id, version, down, likely_per_hour)
select capability_id, 1, down, loss_per_hour from capability_loss;

drop table capability_asset;
drop table capability_loss;
alter table capability drop column must_run;
alter table capability drop column said_by;
alter table capability drop column said_ms;

create trigger need_stays before update on need
begin
    select raise(abort, 'what was said is not changed; enter what is said now');
end;
create trigger need_kept before delete on need
begin
    select raise(abort, 'what was said is not deleted; enter what is said now');
end;
create trigger need_asset_stays before update on need_asset
begin
    select raise(abort, 'what was said is not changed; enter what is said now');
end;
create trigger need_asset_kept before delete on need_asset
begin
    select raise(abort, 'what was said is not deleted; enter what is said now');
end;
create trigger need_loss_stays before update on need_loss
begin
    select raise(abort, 'what was said is not changed; enter what is said now');
end;
create trigger need_loss_kept before delete on need_loss
begin
    select raise(abort, 'what was said is not deleted; enter what is said now');
end;

alter table asset add column version integer not null default 1 check (version > 0);
