"""`python -m profiler` is the command `gradewright`."""

from profiler.cli.main import main

if __name__ == "__main__":
    main()
