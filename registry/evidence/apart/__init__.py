"""Reading what people hand in, in a process of its own that is stopped when it costs too much.

A table, a PDF or a picture of a few kilobytes can be made to unpack to gigabytes or to be read for
minutes. So none is read where pages are answered: ``python -m registry.evidence.apart`` is started
for each file and reads it from its standard input. It limits itself (address space, processor time,
no files written), it is watched from outside (memory that it really takes, wall clock: macOS does not
hold a process to ``RLIMIT_AS``), and it is given no secret, no connection and no network address.

One process for each file rather than a pool: what one file did to it never meets the next, limits on
processor time are of the whole process, and there is nothing to supervise or to restart. It costs a
fifth of a second, since the child loads neither Django nor the database: nothing that ``__main__``
imports may. ``running`` is the other side, in the process that answers.
"""
