-- What did the kidneys make, and what would drainage minus irrigant have said, by patient?
-- Closed intervals only: hours, shifts and days are shares of the same, and would count twice.
select patient_id,
       count(*)                                              as intervals,
       sum(corrected_ml)                                     as corrected_ml,
       sum(simple_ml)                                        as simple_ml,
       sum(corrected_ml) - sum(simple_ml)                    as difference_ml,
       count(*) filter (where corrected_ml is null)          as without_a_number
from 'output_intervals-*.parquet'
where status <> 'entered-in-error'
group by patient_id
order by patient_id;
