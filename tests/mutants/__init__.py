"""Changes one number, sign or comparison of a formula at a time, and asks the room's own tests whether they notice.

    python3 run.py mutate                          every science room, 60 mutants each; goes on where it stopped
    python3 run.py mutate oxygen assay --sample 20
    python3 run.py mutate --jobs 16                on a machine with many processor cores
    python3 run.py mutate --survivors              only those that survived before, after new tests

Made for a night, not for the everyday run.
"""
