-- Do the two readings of a urine-output criterion agree, and how often can neither tell? Never a diagnosis.
select criterion, answer, every_hour_answer, count(*) as patients, max(probability_met_percent) as most_probable_percent
from 'urine_output_criteria-*.parquet'
where status <> 'entered-in-error'
group by criterion, answer, every_hour_answer
order by criterion, answer, every_hour_answer;
