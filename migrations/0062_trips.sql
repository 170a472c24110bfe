-- What the vehicle of a delivery may carry, and when its list closes. Added to and never changed; the newest
-- version holds. Name, usual and latest arrival and payload stand in 'delivery' too, by which the line-up
-- plans: whoever says a trip anew sets them there in the same change.

create table trip_said (
    delivery_id blob not null references delivery (id),
    version integer not null check (version >= 1),
    name text not null check (length(name) between 1 and 80),
    mode text not null check (mode in ('road', 'sea', 'air')),
    payload_g integer not null check (payload_g between 1 and 1000000000),
    -- Thousandths of the payload that stay free.
    reserve_permille integer not null check (reserve_permille between 0 and 900),
    volume_ml integer not null check (volume_ml between 1 and 1000000000),
    -- The longest and the heaviest piece that it takes.
    longest_mm integer not null check (longest_mm between 1 and 20000),
    heaviest_g integer not null check (heaviest_g between 1 and 20000000),
    dangerous integer not null check (dangerous in (0, 1)),
    earliest_ms integer not null,
    usual_ms integer not null check (usual_ms >= earliest_ms),
    latest_ms integer not null check (latest_ms >= usual_ms),
    closes_ms integer not null check (closes_ms <= earliest_ms),
    takes_back text not null default '' check (length(takes_back) <= 400),
    said_by text not null check (length(said_by) between 1 and 80),
    said_ms integer not null,
    primary key (delivery_id, version)
) strict, without rowid;
create trigger trip_said_stays before update on trip_said
begin
    select raise(abort, 'what was said of a trip is not changed; say what holds now');
end;
create trigger trip_said_kept before delete on trip_said
begin
    select raise(abort, 'what was said of a trip is not deleted; say what holds now');
end;
create trigger trip_said_of_expected before insert on trip_said
when (select state from delivery where id = new.delivery_id) <> 'expected'
begin
    select raise(abort, 'the trip is over; nothing is said of it any more');
end;

-- What must go, whatever it is worth, in the order of naming.
create table trip_must_go (
    delivery_id blob not null,
    version integer not null,
    position integer not null check (position >= 1),
    item_id blob not null references item (id),
    units integer not null check (units between 1 and 10000),
    primary key (delivery_id, version, position),
    unique (delivery_id, version, item_id),
    foreign key (delivery_id, version) references trip_said (delivery_id, version)
) strict, without rowid;
create trigger trip_must_go_stays before update on trip_must_go
begin
    select raise(abort, 'what was said of a trip is not changed; say what holds now');
end;
create trigger trip_must_go_kept before delete on trip_must_go
begin
    select raise(abort, 'what was said of a trip is not deleted; say what holds now');
end;
