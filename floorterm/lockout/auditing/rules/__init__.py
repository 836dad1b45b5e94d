"""The rules, one function a rule or a family of legs: a replayed job in, findings out.

A rule of the regulation is tested on jobs of class lockout only; minor servicing and cord-and-plug jobs
answer for their exception, for the record's integrity and for training by site policy.
"""
