-- Where a patient lies, of episodes that say so: to list those of a ward. The names are those of the episode's json.
alter table episode add column ward text null;
alter table episode add column room text null;
alter table episode add column bed text null;

create index episode_by_ward on episode (ward, room, bed) where ward is not null;
create index episode_by_opening on episode (opened_at, id);
