"""One run of the workflow and one job of it: locks, logs, chunks of a resampling, hashes of what a run was made of.

How a run hangs together:

- `liftseries run` holds a lock in the output folder, looks for processes of Snakemake at work there, ends those that a
  killed run left behind (they carry `LIFTSERIES_RUN` in their environment) and refuses to meet any other.
- `manifest.json` holds the hashes of inputs, outputs, what lies between them, code and versions. If all still agree,
  Snakemake is not started. A file known by its size and times (`standing.py`) is not read again for it.
- Otherwise Snakemake decides. It compares `params:` by value: the hashes of a rule's inputs are among them (`begun`),
  and `code=code_of(room, …)`, the hash of the rooms it calls. What was edited in the output folder goes before.
- A job reads an input once (`base/reading.py`) and holds what it read to `begun`; so does the manifest at the end.
- Every file is written as `name.unfinished.csv` and renamed. Python and pandas take longer to start than most jobs to
  compute, so imports are few and late. No `run:` block: each would start Snakemake again.
- A script runs inside `job.logged`: a `StudyError` becomes lines in `logs/problems.txt`, which the command line shows;
  what the machine lacks goes by words of the script, since a full disk takes no log; anything else is shown with its
  traceback as our fault. `heard.py` notes which step a job is, so that it can be named where memory runs out.
- Nothing is written outside the output folder but temporary files: there may be no home, and no cache in it.

**An analysis is a job.** *Situation:* with 25 analyses, some of them bootstraps, a chapter as one job made every
changed key rerun its neighbours and kept all but two cores idle. *Choice:* a rule an analysis, a rule a chapter's
figures; one table of cases and one of implants, from which every analysis starts, so that a job reads one file and
imports no plotting. *Rival:* a job a chapter: starting Python with pandas costs about a second, half a minute in all on
two cores; on eight cores the present way is the faster one. *Consequence:* whatever a script imports beside pandas is
paid by its job.

**No file of the study is an input to Snakemake.** *Situation:* it goes by a file's time, and takes its checksum when
the job has ended: a file that changed meanwhile, or under a clock set back, passed for read. *Choice:* hashes taken
when the run begins, as params. *Rival:* a copy of every input in the output folder. *Consequence:* an input that
changes ends the run; `ro-crate-metadata.json` and manifest.json are written from one dictionary of those hashes.

**An unchanged run does not start Snakemake.** *Situation:* looking costs Snakemake about 1.6 times its own `--version`.
*Choice:* compare `manifest.json` first. *Rival:* Snakemake's Python interface in our process, thinly documented.
*Consequence:* all that the run rests on is looked at each time, milliseconds for a series of this kind.

**Jobs elsewhere.** *Situation:* 10^6 sites want a cluster, whose jobs start when the study may have changed and die
where no process of ours sees it. *Choice:* a profile of Snakemake, an executor of its own; the hashes of the inputs
noted when the run begins; a killed run's Snakemake gets SIGINT, with which it calls its jobs back. *Rival:* a scheduler
of ours, or each job hashing the study anew. *Consequence:* a shared file system, no warm process, and jobs grouped,
since each submission starts Snakemake twice.
"""
