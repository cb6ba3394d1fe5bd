"""See `tests.second_simulation.batch`: the work is there because spawned processes cannot find what `__main__` defines."""

from tests.second_simulation.batch import main

if __name__ == "__main__":
    main()
