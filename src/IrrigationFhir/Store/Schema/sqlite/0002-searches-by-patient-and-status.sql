-- What is raised, running or preliminary is a small part of what is there: it is found by its status, in the order of its date.
create index resource_by_status on resource (type, status, date_from, id);

-- A search within a patient is decided in the indexes: what they hold behind the id spares a look at the rows, which are large
-- and lie apart, and only what is sent is read from there.
drop index resource_by_subject_identifier;
create index resource_by_subject_identifier on resource (type, subject_value, date_from, id, subject_system, patient_key, date_to, status) where subject_value is not null;
drop index resource_by_subject_reference;
create index resource_by_subject_reference on resource (type, subject_reference, date_from, id, patient_key, date_to, status) where subject_reference is not null;
create index resource_token_code_of_patient on resource_token (patient_key, type, date_from, id, code, system) where parameter = 'code';
create index resource_token_category_of_patient on resource_token (patient_key, type, id, code, system) where parameter = 'category';
