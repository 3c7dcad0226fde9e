import sys

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from workshop import local_ca, own_names, serving, serving_tls, trust


class Command(BaseCommand):
    help = "Run the shop's server: migrate, check, then serve with gunicorn until stopped."
    # They run in `prepare`, when the database is migrated and the addresses are known.
    requires_system_checks = []

    def add_arguments(self, parser):
        parser.add_argument(
            "--bind", help="address:port of http (default 127.0.0.1:8000; with --tls 0.0.0.0:8000)"
        )
        parser.add_argument("--workers", type=int, default=2)
        parser.add_argument("--threads", type=int, default=4)
        parser.add_argument(
            "--tls",
            action="store_true",
            help="serve https with a certificate of the shop's own, which each device is told to trust once; "
            "plain http is left for the page that says how",
        )
        parser.add_argument(
            "--https-bind", default="0.0.0.0:8443", help="address:port of https (default 0.0.0.0:8443)"
        )
        parser.add_argument(
            "--names",
            nargs="+",
            default=[],
            metavar="NAME",
            help="further host names or addresses of this server, for the certificate",
        )
        parser.add_argument(
            "--new-ca",
            action="store_true",
            help="make another certificate authority in place of the one there is, and stop; "
            "every device has to be told to trust it",
        )

    def handle(self, *, bind, workers, threads, tls, https_bind, names, new_ca, **options):
        if not tls:
            if names or new_ca:
                raise CommandError("--names and --new-ca go with --tls.")
            bind = bind or "127.0.0.1:8000"
            serving.prepare(self.stdout)
            self.stdout.write(f"Serving on http://{bind} (stop with Ctrl+C)")
            serving.serve(bind, workers=workers, threads=threads)
            return
        if settings.SECURE_PROXY_SSL_HEADER:
            raise CommandError(
                "BEHIND_PROXY is set: the proxy in front does the encryption. Leave out --tls, or BEHIND_PROXY."
            )
        given = serving_tls.given_names([one for text in names for one in text.split(",") if one])
        if new_ca:
            self._new_authority(given)
            return
        self._serve_tls(given, bind or "0.0.0.0:8000", https_bind, workers, threads)

    def _new_authority(self, given) -> None:
        """Made and no more: left in a service's start command, it would make one at every start."""
        try:
            authority = local_ca.make_authority(trust.folder(), own_names.find(given))
        except local_ca.LocalCAError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            "Made a new certificate authority. Start the server again, without --new-ca, and tell each device to "
            f"trust it. Its fingerprint (SHA-256):\n  {local_ca.fingerprint(authority.trusted)}"
        )

    def _serve_tls(self, given, bind, https_bind, workers, threads) -> None:
        # The ports first: a second start by mistake must not touch the certificate of the first.
        with (
            serving_tls.listen(https_bind, "--https-bind") as https,
            serving_tls.listen(bind, "--bind") as http,
        ):
            server = serving_tls.Server(given, https, http, workers, threads, self._say)
            fingerprint = server.certify()
            serving.prepare_apart(self)
            shown, *further = trust.over_tls()
            self._say(f"Serving on {shown} (stop with Ctrl+C)")
            if further:
                self._say(f"The certificate holds for these too: {', '.join(further)}")
            self._say(
                f"On each device once: open {trust.plain_address()}/trust/ and compare the fingerprint there with "
                f"this one:\n  {fingerprint}"
            )
            code = serving_tls.supervise(server.start, server.look_after, self._say)
        if code:
            sys.exit(code)

    def _say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()
