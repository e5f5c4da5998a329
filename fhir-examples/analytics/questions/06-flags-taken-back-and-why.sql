-- Which flags were taken back, by whom and why? When and why stand in the corrections.
select f.flag, f.raised_at_local, c.agent_id, c.reason_text
from 'flags-*.parquet' f
join 'corrections-*.parquet' c on c.target_key = f.resource_key and c.activity = 'NULLIFY'
where f.is_retracted
order by f.raised_at, f.flag;
