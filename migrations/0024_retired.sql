-- Assets and capabilities that are no longer in use: kept with all that stands on record of them.

-- Why it is no longer in use; null: it is.
alter table asset add column retired_reason text check (length(retired_reason) between 1 and 500);
alter table capability add column retired_reason text check (length(retired_reason) between 1 and 500);

-- Goes up by one with each act on it, whatever the act changes: what is said of it, its name, its use. A
-- version of `need` is the one that its act made.
alter table capability add column version integer not null default 1 check (version > 0);
update capability
set version = coalesce((select max(version) from need where capability_id = capability.id), 1);

create trigger need_of_assets_in_use before insert on need_asset
when (select retired_reason from asset where id = new.asset_id) is not null
begin
    select raise(abort, 'the asset is retired; bring it back first');
end;
create trigger request_for_asset_in_use before insert on request
when (select retired_reason from asset where id = new.asset_id) is not null
begin
    select raise(abort, 'the asset is retired; bring it back first');
end;
