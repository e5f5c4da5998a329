-- Facilities: the first part of patient_key, and so of the patient's number (PatientNumber.cs); empty for the one without a name. An
-- episode's identifier is its facility's own: another facility may use the same.
alter table episode add column facility text not null default '';
drop index episode_by_identifier;
create unique index episode_by_identifier on episode (identifier_value, ifnull(identifier_system, ''), facility)
    where identifier_value is not null;

-- Whose a subscription is and what its client was allowed when it last said what it wants: scopes with blanks between them, and the
-- facilities as a JSON array, null for all. It is told of no more than that, and of no more than its client may have by then.
alter table subscription add column client text not null default 'local';
alter table subscription add column scopes text not null default 'system/*.cruds';
alter table subscription add column facilities text null;
