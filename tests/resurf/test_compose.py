"""The production shape, without containers: every command and every health check of the compose file is run here."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest
import yaml

from resurf.embedded import binaries
from resurf.embedded.account import engine_account
from resurf.embedded.postgres import SUPERUSER, Cluster
from resurf.postgresql import roles
from tests.resurf.installation import PROJECT, come_true, free_port

SERVICES = ("database", "broker", "migrate", "web", "worker-messages", "worker-plans", "beat")
NEEDED = re.compile(r"\$\{(\w+):\?see \.docker/example\.env\}")


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    document: dict[str, Any] = yaml.safe_load((PROJECT / "docker-compose.yml").read_text())
    return document


class OnceLoader(yaml.SafeLoader):
    """Refuses a key that stands twice in one mapping, as newer compose clients do."""

    def construct_mapping(self, node: Any, deep: bool = False) -> dict[Any, Any]:
        keys = [self.construct_object(key, deep=True) for key, _ in node.value if key.tag != "tag:yaml.org,2002:merge"]
        twice = {str(key) for key in keys if keys.count(key) > 1}
        if twice:
            raise yaml.constructor.ConstructorError(None, None, f"twice: {', '.join(sorted(twice))}", node.start_mark)
        return super().construct_mapping(node, deep)


@pytest.fixture
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    """A new PostgreSQL as the official image makes one: a superuser and nothing else."""
    folder = Path(os.environ["RESURF_DATA"]).parent / "compose"
    folder.mkdir()
    folder.chmod(0o711)
    account = engine_account()
    install = binaries.reachable_postgres(account, folder)
    made = Cluster(install, folder / "postgres", folder / "run", folder / "postgres.log", account, throw_away=True)
    made.make()
    server = made.start()
    yield made
    made.stop(server)


def initialise(cluster: Cluster) -> None:
    """What the database's container runs at its first start."""
    psql = {
        "PATH": f"{cluster.install / 'bin'}:{os.environ['PATH']}",
        "PGHOST": str(cluster.sockets),
        "RESURF_OWNER_PASSWORD": "owner0123",
        "RESURF_APP_PASSWORD": "app0123",
    }
    with_sql = ["psql", "-v", "ON_ERROR_STOP=1", "-U", SUPERUSER, "-d", "postgres", "-f", str(roles.ROLES_SQL)]
    for command in (with_sql, ["sh", str(PROJECT / ".docker" / "20-database.sh")]):
        subprocess.run(command, env=psql, check=True, capture_output=True)


def test_no_key_stands_twice() -> None:
    assert yaml.load((PROJECT / "docker-compose.yml").read_text(), OnceLoader)["services"]
    with pytest.raises(yaml.constructor.ConstructorError, match="twice: b"):
        yaml.load("a: {b: 1, b: 2}", OnceLoader)


def test_every_secret_is_named_in_the_example(compose: dict[str, Any]) -> None:
    assert tuple(compose["services"]) == SERVICES
    asked = set(NEEDED.findall((PROJECT / "docker-compose.yml").read_text()))
    example = (PROJECT / ".docker" / "example.env").read_text()
    assert asked == set(re.findall(r"^(\w+)=", example, re.MULTILINE))
    assert "PASSWORD=\n" in example


def test_what_the_file_mounts_exists(compose: dict[str, Any]) -> None:
    mounts = [volume for service in compose["services"].values() for volume in service.get("volumes", [])]
    files = [volume.split(":")[0] for volume in mounts if volume.startswith("./")]
    assert files
    assert all((PROJECT / file).is_file() for file in files)
    assert (PROJECT / compose["services"]["web"]["build"]["dockerfile"]).is_file()


def test_the_image_installs_hashed_files_and_names_no_place() -> None:
    text = (PROJECT / ".docker" / "requirements.txt").read_text()
    wanted = [line for line in text.splitlines() if line and not line.startswith(" ")]
    assert all("==" in line for line in wanted)
    assert len(wanted) == len(re.findall(r"^\S.*\\\n    --hash=sha256:", text, re.MULTILINE))
    assert "://" not in text


@pytest.mark.usefixtures("engines")
def test_every_command_runs_and_every_health_check_passes(
    compose: dict[str, Any], cluster: Cluster, tmp_path: Path
) -> None:
    initialise(cluster)
    port = free_port()
    here = {
        "postgresql://resurf_app:${RESURF_APP_PASSWORD:?see .docker/example.env}@database/resurf": cluster.url(
            roles.APP
        ),
        "postgresql://resurf_owner:${RESURF_OWNER_PASSWORD:?see .docker/example.env}@database/resurf": cluster.url(
            roles.OWNER
        ),
        "redis://broker:6379": os.environ["REDIS_URL"],
        "0.0.0.0:8000": f"127.0.0.1:{port}",
        "${SECRET_KEY:?see .docker/example.env}": "s" * 64,
        "${SITE_URL:?see .docker/example.env}": "https://plans.example",
        "${ALLOWED_HOSTS:?see .docker/example.env}": "plans.example",
        "${EMAIL_URL:?see .docker/example.env}": "smtp://mail.example",
        "${EMAIL_FROM:?see .docker/example.env}": "plans@mail.example",
        "/srv/resurf/beat/schedule": str(tmp_path / "schedule"),
        "/srv/resurf/photos": str(tmp_path / "photos"),
        "${METRICS_TOKEN:-}": "",
    }

    def environment(name: str) -> dict[str, str]:
        path = {"PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}", "RESURF_DATA": str(tmp_path)}
        return {**path, **{key: here.get(value, value) for key, value in service(name)["environment"].items()}}

    def service(name: str) -> dict[str, Any]:
        found: dict[str, Any] = compose["services"][name]
        return found

    def command(name: str) -> list[str]:
        return [here.get(word, word) for word in service(name)["command"]]

    subprocess.run(command("migrate"), env=environment("migrate"), cwd=PROJECT, check=True, timeout=120)
    started = []
    try:
        for name in ("web", "worker-messages", "worker-plans", "beat"):
            with (tmp_path / f"{name}.log").open("wb") as log:
                process = subprocess.Popen(
                    command(name), env=environment(name), cwd=PROJECT, stdout=log, stderr=log, process_group=0
                )
            started.append((name, process))
        address = f"http://127.0.0.1:{port}"
        assert come_true(lambda: answers(f"{address}/readyz")), logs(tmp_path)
        for name, _ in started:
            kind, *test = service(name)["healthcheck"]["test"]
            words = ["sh", "-c", test[0].replace("$$", "$")] if kind == "CMD-SHELL" else test
            words = [word.replace("127.0.0.1:8000", f"127.0.0.1:{port}") for word in words]
            subprocess.run(words, env=environment(name), cwd=PROJECT, check=True, timeout=60, capture_output=True)
        with psycopg.connect(cluster.url(roles.APP)) as connection:
            owned = "SELECT count(*) FROM pg_class WHERE relowner = current_user::regrole"
            assert connection.execute(owned).fetchone() == (0,)
    finally:
        for name, process in started:
            stop = getattr(signal, service(name).get("stop_signal", "SIGTERM"))
            process.send_signal(stop)
        codes = {name: process.wait(60) for name, process in started}
    assert codes == dict.fromkeys(codes, 0), logs(tmp_path)
    line = (tmp_path / "web.log").read_text().splitlines()[-1]
    assert line.startswith("{"), "production logs are JSON"


def answers(address: str) -> bool:
    try:
        return int(urllib.request.urlopen(address, timeout=2).status) == 200
    except OSError:
        return False


def logs(folder: Path) -> str:
    return "\n".join(f"{log.name}\n{log.read_text()[-2000:]}" for log in folder.glob("*.log"))


@pytest.mark.system
def test_a_compose_client_takes_the_file(tmp_path: Path) -> None:
    """By Debian's docker-compose or the plugin of docker; needs no daemon."""
    program = shutil.which("docker-compose")
    command = [program] if program else ["docker", "compose"]
    values = "\n".join(f"{name}=a0123456789" for name in NEEDED.findall((PROJECT / "docker-compose.yml").read_text()))
    settings = tmp_path / "filled.env"
    settings.write_text(values)
    command += ["--file", str(PROJECT / "docker-compose.yml"), "--env-file", str(settings), "config"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    read = yaml.safe_load(done.stdout)
    assert set(read["services"]) == set(SERVICES)
    assert "RESURF_OWNER_PASSWORD" not in str(read["services"]["web"])


def test_without_its_secrets_the_file_is_refused_by_name() -> None:
    text = (PROJECT / "docker-compose.yml").read_text()
    assert all(f"${{{name}:?" in text for name in ("SECRET_KEY", "POSTGRES_PASSWORD", "RESURF_APP_PASSWORD"))
