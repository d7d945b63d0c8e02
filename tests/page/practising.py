"""What a learner does with a page, the same in every browser."""

from __future__ import annotations

from typing import Any, Protocol


class Browser(Protocol):
    """A page in a browser, whatever drives it."""

    def run(self, script: str) -> Any:
        """Return what a script in the page comes to."""

    def wait(self, script: str) -> None:
        """Wait until a script in the page comes to something true."""

    def click(self, selector: str) -> None:
        """Click what a selector finds first."""

    def press(self, key: str) -> None:
        """Press a key."""


SHOWN = "document.querySelector('.line.chosen svg') !== null"
"""True once the page shows its first line."""


def practise(browser: Browser) -> None:
    """Play, change the rung and the pitch, loop, climb, by hand and by keys."""
    browser.wait(SHOWN)
    # The shortest line: rounds come soon.
    browser.press("ArrowDown")
    browser.press("3")
    browser.click(".play")
    browser.wait("rungwise.player.heardFrame > 0 && document.querySelector('.lit') !== null")
    assert browser.run("rungwise.player.context.sampleRate") == 44_100
    browser.click(".rungs button:last-child")
    browser.wait("Number(rungwise.heardTag()?.tempo.n) === 80")
    # The bar that sounds, round after round, and then the whole line again.
    browser.press("]")
    browser.wait("rungwise.loopedBars?.join() === '1,1'")
    browser.press("Escape")
    browser.wait("rungwise.loopedBars === null")
    browser.run("rungwise.tune(1, 7)")
    browser.wait("rungwise.choice.bank.pitch.label === 'B flat' && rungwise.player.isPlaying")
    browser.press(" ")
    assert not browser.run("rungwise.player.isPlaying")
    browser.press("1")
    browser.press("ArrowRight")
    assert browser.run("[rungwise.choice.lineIndex, Number(rungwise.choice.tempo.n)]") == [1, 60]
    browser.click("[aria-controls=panel-practice]")
    browser.click("input[value=climb]")
    browser.press(" ")
    browser.run("rungwise.player.layTo(44100 * 40)")
    sections = "rungwise.player.rendition.sections"
    rungs = browser.run(f"{sections}.map(one => Number(one.tag.tempo.n)).slice(0, 7)")
    assert rungs == [60, 60, 60, 70, 70, 80, 80]
    browser.press("c")
    browser.press(" ")
    rests_unseen(browser)


def rests_unseen(browser: Browser) -> None:
    """Fail unless the device's sound is let go while nobody sees the page and nothing plays."""
    context = "rungwise.player.context.state"
    told = "document.dispatchEvent(new Event('visibilitychange'))"
    hidden = "{value: true, configurable: true}"
    hide = f"Object.defineProperty(document, 'hidden', {hidden}), {told}"
    browser.run(hide)
    browser.wait(f"{context} === 'suspended'")
    browser.run(f"delete document.hidden, {told}")
    browser.press(" ")
    browser.wait(f"{context} === 'running' && rungwise.player.heardFrame > 4410")
    browser.run(hide)
    at = browser.run("rungwise.player.frame")
    browser.wait(f"rungwise.player.frame > {at} + 4410")
    assert browser.run(context) == "running"
    browser.run(f"delete document.hidden, {told}")
    browser.press(" ")


def remembers(browser: Browser) -> None:
    """Fail unless the page, opened again, knows what was clean."""
    browser.wait(SHOWN)
    assert browser.run("rungwise.log.of(rungwise.lineKey(1)).clean") == 60
