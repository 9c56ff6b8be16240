"""Run the site with an invented office, its systems and its tankers to try things out on."""

from scheduler import demo
from scheduler.management.commands import serve


class Command(serve.Command):
    help = "Run the site with invented customers to try it out. Ctrl-C stops it."

    def prepare(self) -> None:
        self.stdout.write("Loading the invented valley (the first time takes a moment) …")
        self.stdout.flush()
        demo.load_demo()

    def introduce(self) -> None:
        super().introduce()
        self.stdout.write("Sign in as one of these:")
        for email, password, who in demo.logins():
            self.stdout.write(f"  {email:26} {password}   {who}")
        self.stdout.write(f"A messy list to bring in: {demo.sheet_path()}")
