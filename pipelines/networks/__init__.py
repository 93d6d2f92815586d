"""Networks: the plan, a task of each line, the job that does one, maps over many, records of what is done."""
