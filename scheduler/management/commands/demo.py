"""Run the site with an invented office, its systems and its tankers to try things out on."""

from scheduler import demo
from scheduler.management.commands import serve


class Command(serve.Command):
    help = "Run the site with an invented valley to try it out. Ctrl-C stops it."

    def prepare(self) -> None:
        self.stdout.write("Loading the invented valley (the first time takes a moment) …")
        self.stdout.flush()
        demo.load_demo()

    def introduce(self) -> None:
        self.stdout.write("Sign in as any of these; the password is always the same:\n")
        for email, password, who in demo.logins():
            self.stdout.write(f"  {email:<26} {password:<16} {who}")
        page = demo.omars_page()
        if page:
            self.stdout.write(f"\nOmar, an owner, needs no account; his own page: {page}")
        self.stdout.write(f"\nA list to bring in: {demo.sheet_path()}")
        super().introduce()
