"""Signing in by password, code and passkey in a real browser; every page of it checked by axe-core."""

from __future__ import annotations

import pytest
from django.utils import timezone

from registry.demo import scenario
from registry.people import invitations
from registry.people.models import Account

pytest.importorskip("playwright", reason="Playwright is not installed")
from playwright import sync_api

from tests.browser.looking import DESK, ONE_LOOK, PHONE, finds_nothing_wrong

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])


class Visitor:
    """Somebody at a browser of a given size, who looks at pages."""

    def __init__(self, browser: sync_api.Browser, demonstration: str, size: sync_api.ViewportSize, scheme: str) -> None:
        self.context = browser.new_context(viewport=size, color_scheme=scheme)  # type: ignore[arg-type]
        self.page = self.context.new_page()
        self.address = demonstration
        self.look = f"{size['width']}-{scheme}"

    def goes_to(self, path: str) -> None:
        self.page.goto(self.address + path)

    def presses(self, name: str) -> None:
        self.page.get_by_role("button", name=name, exact=True).click()
        self.page.wait_for_load_state()

    def finds_nothing_wrong(self, heading: str) -> None:
        """See :func:`tests.browser.looking.finds_nothing_wrong`."""
        finds_nothing_wrong(self.page, f"account {heading} {self.look}", heading=heading)

    def gives_the_password(self, account: scenario.DemoAccount) -> None:
        self.goes_to("/sign-in/")
        self.page.get_by_label("Username").fill(account.username)
        self.page.get_by_label("Password").fill(account.password)
        self.presses("Sign in")

    def gives_the_code(self) -> None:
        self.page.get_by_label("Code").fill(self.page.locator("section.note kbd").inner_text())
        self.presses("Sign in")

    def confirms(self, account: scenario.DemoAccount) -> None:
        self.page.get_by_label("Password").fill(account.password)
        self.presses("Confirm")

    def has_a_device_with_passkeys(self) -> None:
        """Chromium's virtual authenticator: a device that recognises its owner by itself."""
        protocol = self.context.new_cdp_session(self.page)
        protocol.send("WebAuthn.enable")
        options = {
            "protocol": "ctap2",
            "transport": "internal",
            "hasResidentKey": True,
            "hasUserVerification": True,
            "isUserVerified": True,
            "automaticPresenceSimulation": True,
        }
        protocol.send("WebAuthn.addVirtualAuthenticator", {"options": options})


@pytest.mark.parametrize(("size", "scheme"), ONE_LOOK)
def test_every_page_of_an_account_is_accessible(
    browser: sync_api.Browser, demonstration: str, size: sync_api.ViewportSize, scheme: str
) -> None:
    visitor = Visitor(browser, demonstration, size, scheme)
    page = visitor.page
    visitor.goes_to("/sign-in/")
    visitor.finds_nothing_wrong("Sign in")
    visitor.gives_the_password(scenario.DemoAccount("dispatcher", "not it", "", ""))
    wrong = page.get_by_role("alert")
    sync_api.expect(wrong).to_contain_text("The username or the password is wrong.")
    sync_api.expect(page.get_by_label("Username")).to_have_value("dispatcher")
    sync_api.expect(page.get_by_label("Password")).to_have_value("")
    visitor.finds_nothing_wrong("Sign in")
    visitor.goes_to("/account/password/forgotten/")
    visitor.finds_nothing_wrong("Password forgotten")
    page.get_by_label("Email").fill("nobody@registry.example")
    visitor.presses("Send the link")
    visitor.finds_nothing_wrong("Look into your mail")
    visitor.goes_to("/account/password/new/1-abc/")
    visitor.finds_nothing_wrong("This link does not work")
    visitor.goes_to("/invitations/")
    visitor.finds_nothing_wrong("Open your account")
    visitor.goes_to("/invitations/nothing/")
    visitor.finds_nothing_wrong("This invitation opens nothing")
    visitor.gives_the_password(scenario.DISPATCHER)
    visitor.finds_nothing_wrong("Second step")
    page.get_by_label("Code").fill("000000")
    visitor.presses("Sign in")
    sync_api.expect(page.get_by_role("alert").first).to_contain_text("This code is wrong")
    visitor.finds_nothing_wrong("Second step")
    visitor.gives_the_code()
    page.get_by_role("link", name="Account", exact=True).click()
    visitor.finds_nothing_wrong("Account")
    for path, heading in (
        ("/account/password/", "Change the password"),
        ("/account/sessions/", "Sessions"),
        ("/account/passkeys/", "Passkeys"),
        ("/account/invitations/", "Invite somebody"),
        ("/account/confirm/", "Confirm that it is you"),
        ("/account/confirm/code/", "Confirm that it is you"),
    ):
        visitor.goes_to(path)
        visitor.finds_nothing_wrong(heading)
    visitor.goes_to("/account/password/")
    for label in ("Current password", "New password", "New password again"):
        page.get_by_label(label, exact=True).fill("wrong")
    visitor.presses("Change the password")
    visitor.finds_nothing_wrong("Change the password")
    visitor.goes_to("/account/invitations/")
    page.get_by_label("A dispatcher of your employer").check()
    page.get_by_label("The person's own e-mail address").fill("second.planner@post.example")
    visitor.presses("Mail the invitation")
    sync_api.expect(page.get_by_role("status").get_by_text("on its way to the person")).to_be_visible()
    sync_api.expect(page.get_by_text("/invitations/"), "the inviter sees no link").to_have_count(0)
    visitor.finds_nothing_wrong("Invite somebody")
    visitor.goes_to("/account/recovery-codes/new/")
    visitor.confirms(scenario.DISPATCHER)
    visitor.finds_nothing_wrong("Make recovery codes")
    visitor.presses("Make new codes")
    visitor.finds_nothing_wrong("Recovery codes")
    visitor.goes_to("/account/authenticator-app/remove/")
    visitor.finds_nothing_wrong("Remove the authenticator app")
    visitor.presses("Remove the app")
    visitor.finds_nothing_wrong("Account")
    sync_api.expect(page.get_by_role("alert")).to_contain_text("Set up a second factor first")
    visitor.goes_to("/account/authenticator-app/")
    visitor.finds_nothing_wrong("Set up an authenticator app")
    visitor.goes_to("/account/passkeys/add/")
    visitor.finds_nothing_wrong("Add a passkey")
    visitor.context.close()


@pytest.mark.parametrize(("size", "scheme"), ONE_LOOK)
def test_a_passkey_is_added_used_renamed_and_removed(
    browser: sync_api.Browser, demonstration: str, size: sync_api.ViewportSize, scheme: str
) -> None:
    visitor = Visitor(browser, demonstration, size, scheme)
    page = visitor.page
    visitor.has_a_device_with_passkeys()
    visitor.gives_the_password(scenario.INSPECTOR)
    visitor.gives_the_code()
    visitor.goes_to("/account/passkeys/add/")
    visitor.confirms(scenario.INSPECTOR)
    page.get_by_label("Name of the passkey").fill("Tablet")
    visitor.presses("Add a passkey")
    page.get_by_role("heading", name="Recovery codes", level=1).wait_for()
    visitor.presses("Sign out")
    visitor.presses("Sign in with a passkey")
    page.get_by_role("heading", name="Jobs", level=1).wait_for()
    visitor.presses("Sign out")
    visitor.gives_the_password(scenario.INSPECTOR)
    visitor.presses("Use a passkey")
    page.get_by_role("heading", name="Jobs", level=1).wait_for()
    visitor.goes_to("/account/passkeys/")
    visitor.finds_nothing_wrong("Passkeys")
    page.get_by_role("link", name="Rename Tablet").click()
    page.get_by_role("link", name="Use a passkey").click()
    visitor.finds_nothing_wrong("Confirm that it is you")
    visitor.presses("Use a passkey")
    page.get_by_role("heading", name="Name the passkey").wait_for()
    visitor.finds_nothing_wrong("Name the passkey")
    page.get_by_label("Name of the passkey").fill("Old tablet")
    visitor.presses("Keep this name")
    page.get_by_role("link", name="Remove Old tablet").click()
    visitor.finds_nothing_wrong("Remove the passkey")
    visitor.presses("Remove the passkey")
    sync_api.expect(page.get_by_text("There are none yet.")).to_be_visible()
    visitor.context.close()


def test_a_device_without_the_passkey_says_so(browser: sync_api.Browser, demonstration: str) -> None:
    visitor = Visitor(browser, demonstration, DESK, "light")
    visitor.has_a_device_with_passkeys()
    visitor.goes_to("/sign-in/")
    problem = visitor.page.get_by_text("The passkey was not accepted.")
    sync_api.expect(problem).to_be_hidden()
    visitor.presses("Sign in with a passkey")
    problem.wait_for()
    visitor.finds_nothing_wrong("Sign in")
    visitor.context.close()


def test_an_invitation_leads_to_an_account_with_a_second_factor_without_scripts(
    browser: sync_api.Browser, demonstration: str
) -> None:
    made = invitations.invite(kind="inspector", invited_by=None, invited_at=timezone.now())
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{demonstration}/invitations/{made.token}/")
    page.get_by_label("Username").fill("visitor")
    page.get_by_label("Password", exact=True).fill("short")
    page.get_by_label("Password again").fill("short")
    page.get_by_role("button", name="Open the account").click()
    field = page.get_by_label("Password", exact=True)
    said = page.locator(f"#{(field.get_attribute('aria-describedby') or '').split()[-1]}")
    sync_api.expect(said, "the error is read out with its field").to_contain_text("too short")
    sync_api.expect(page.get_by_label("Username")).to_have_value("visitor")
    page.get_by_label("Password", exact=True).fill("look-but-do-not-climb")
    page.get_by_label("Password again").fill("look-but-do-not-climb")
    page.get_by_role("button", name="Open the account").click()
    page.get_by_role("link", name="Set up an app").click()
    secret = page.locator("kbd.secret").inner_text()
    page.get_by_label("Code").fill(scenario.shown_by_app(secret)[1])
    page.get_by_role("button", name="Finish").click()
    sync_api.expect(page.get_by_role("heading", level=1)).to_have_text("Recovery codes")
    page.get_by_role("link", name="Go on").click()
    sync_api.expect(page.get_by_role("heading", level=1)).to_have_text("Jobs")
    assert Account.objects.get(username="visitor").kind == "inspector"
    context.close()


def test_the_pages_run_under_their_own_policy(browser: sync_api.Browser, demonstration: str) -> None:
    context = browser.new_context(viewport=DESK)
    page = context.new_page()
    refused: list[str] = []
    page.on("console", lambda message: refused.append(message.text) if message.type == "error" else None)
    for path in ("/sign-in/", "/account/password/forgotten/"):
        page.goto(demonstration + path)
        sync_api.expect(page.get_by_role("button").last).to_be_visible()
    page.goto(f"{demonstration}/sign-in/")
    page.get_by_label("Username").fill(scenario.WORKER.username)
    page.get_by_label("Password").fill(scenario.WORKER.password)
    page.get_by_role("button", name="Sign in", exact=True).click()
    sync_api.expect(page.get_by_role("button", name="Use a passkey"), "the static script ran").to_be_visible()
    assert refused == []
    context.close()
