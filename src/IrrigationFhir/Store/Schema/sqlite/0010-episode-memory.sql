-- How the rules stood after an entry: what a start goes on from instead of going through the whole log. It follows from the log and may
-- be deleted. made_by is a digest of everything else that it follows from: program, settings, description of the episode.
create table episode_memory (
    patient_key   text    not null,
    episode_id    text    not null,
    made_by       blob    not null,
    last_sequence integer not null,
    content       blob    not null,
    primary key (patient_key, episode_id),
    foreign key (patient_key, episode_id) references episode (patient_key, id)
);

-- By which program and settings a version of the episode was saved; null where nobody said.
alter table episode add column saved_by text null;
