"""``python -m interchange``."""

from interchange.cli.main import run

if __name__ == "__main__":
    run()
