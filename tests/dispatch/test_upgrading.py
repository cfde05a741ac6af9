"""A release with new migrations: the database is backed up first, or nothing is migrated."""

import shutil

from tests.dispatch.test_backups import ids, office, place, typed
from tests.office_on_the_web import Office

__all__ = ["office", "place"]  # fixtures that pytest finds here

OLDER = ("migrate", "jobs", "0001", "--verbosity", "0")


def older(place, office, name) -> Office:
    """The office as the first release left it."""
    new = Office(place.new(name), office.seeded)
    assert typed(new, "migrate", "--verbosity", "0").returncode == 0
    assert typed(new, *OLDER).returncode == 0
    return new


def test_an_older_database_is_backed_up_and_migrated(place, office, tmp_path):
    old = older(place, office, "older")

    done = typed(old, "upgrade", "--to", str(tmp_path))

    assert done.returncode == 0, done.stderr
    (file,) = tmp_path.iterdir()
    assert str(file) in done.stdout
    assert "Migrated: jobs.0002" in done.stdout
    assert typed(old, "migrate", "--check").returncode == 0
    back = Office(place.new("back"), office.seeded)
    assert typed(back, "restore", str(file), "--yes").returncode == 0
    assert ids(back) == ids(old)


def test_without_a_backup_nothing_is_migrated(place, office, tmp_path):
    old = older(place, office, "unsaved")
    (tmp_path / "full").write_text("where a folder should be")

    done = typed(old, "upgrade", "--to", str(tmp_path / "full" / "backups"))

    assert done.returncode != 0
    assert "So nothing was migrated." in done.stderr
    assert typed(old, "migrate", "--check").returncode != 0


def test_an_empty_database_and_one_of_this_release_need_no_backup(place, office, tmp_path):
    new = Office(place.new("empty"), office.seeded)

    first = typed(new, "upgrade", "--to", str(tmp_path))
    again = typed(new, "upgrade", "--to", str(tmp_path))

    assert (first.returncode, again.returncode) == (0, 0), first.stderr
    assert "of this release already" in again.stdout
    assert list(tmp_path.iterdir()) == []
    shutil.rmtree(tmp_path)
