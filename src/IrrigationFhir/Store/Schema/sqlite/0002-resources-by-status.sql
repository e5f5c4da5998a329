-- What is raised, running or preliminary is a small part of what is there: it is found by its status, in the order of its date.
create index resource_by_status on resource (type, status, date_from, id);
