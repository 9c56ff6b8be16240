"""A real mail server and a real mailbox on this machine: exim4 delivers, dovecot serves IMAP."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

WHO = "mail"  # the system's user for mailboxes: neither server writes mail as root
EXIM = """
primary_hostname = mx.ebbmark.example
domainlist ours = ebbmark.example : home.example
spool_directory = {folder}/spool
log_file_path = {folder}/exim-%slog
pid_file_path = {folder}/exim.pid
exim_user = {who}
exim_group = {who}
daemon_smtp_ports = {port}
local_interfaces = 127.0.0.1
tls_advertise_hosts =
keep_environment =
rfc1413_query_timeout = 0s
acl_smtp_rcpt = take_all
begin acl
take_all:
  accept
begin routers
known:
  driver = accept
  domains = +ours
  local_parts = bookings : omar
  local_part_suffix = +*
  local_part_suffix_optional
  transport = to_maildir
begin transports
to_maildir:
  driver = appendfile
  directory = {folder}/mail/$local_part_data
  maildir_format
  create_directory
  envelope_to_add
  return_path_add
  user = {who}
  group = {who}
begin retry
* * F,1h,1m
"""
DOVECOT = """
base_dir = {folder}/run
state_dir = {folder}/state
log_path = {folder}/dovecot.log
protocols = imap
listen = 127.0.0.1
ssl = no
disable_plaintext_auth = no
first_valid_uid = 1
mail_location = maildir:{folder}/mail/%n
passdb {{
  driver = static
  args = password=secret
}}
userdb {{
  driver = static
  args = uid={who} gid={who} home={folder}/mail/%n
}}
namespace inbox {{
  inbox = yes
}}
service imap-login {{
  inet_listener imap {{
    port = {port}
  }}
  inet_listener imaps {{
    port = 0
  }}
}}
"""


def missing() -> str:
    """Why the servers cannot be started here; empty where they can."""
    for program in ("/usr/sbin/exim4", "/usr/sbin/dovecot"):
        if shutil.which(program) is None:
            return f"{program} is not installed"
    return "" if os.geteuid() == 0 else "both servers start as root"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def answers(port: int) -> bool:
    try:
        with socket.create_connection(("127.0.0.1", port), timeout=5) as call:
            return bool(call.recv(100))
    except OSError:
        return False


@contextmanager
def mail_servers(folder: Path) -> Iterator[tuple[int, int]]:
    """Run both in a folder with a short path; gives the ports of SMTP and IMAP."""
    smtp, imap = free_port(), free_port()
    folder.chmod(0o755)
    for name in ("spool", "mail"):
        (folder / name).mkdir()
        shutil.chown(folder / name, WHO, WHO)
    shutil.chown(folder, WHO, WHO)
    for name, text, port in (("exim", EXIM, smtp), ("dovecot", DOVECOT, imap)):
        (folder / f"{name}.conf").write_text(text.format(folder=folder, who=WHO, port=port))
    running = [
        subprocess.Popen(["/usr/sbin/exim4", "-C", f"{folder}/exim.conf", "-bdf", "-q1m"]),
        subprocess.Popen(["/usr/sbin/dovecot", "-F", "-c", f"{folder}/dovecot.conf"]),
    ]
    try:
        wait_until(lambda: answers(smtp) and answers(imap))
        yield smtp, imap
    finally:
        for process in running:
            process.terminate()
            process.wait(timeout=30)


def wait_until(is_so, patience: float = 60) -> None:
    """Wait for something another process does; fails the test when it never comes."""
    end = time.monotonic() + patience
    while not is_so():
        assert time.monotonic() < end, "it did not come"
        time.sleep(0.1)


def mails_of(folder: Path, name: str) -> list[bytes]:
    """What lies in somebody's mailbox, oldest first."""
    new = folder / "mail" / name / "new"
    found = sorted(new.iterdir(), key=lambda path: path.stat().st_mtime_ns) if new.exists() else []
    return [path.read_bytes() for path in found]
