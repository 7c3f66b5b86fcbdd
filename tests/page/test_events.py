"""What happens is told to every page that is open."""

import asyncio

from blockcheck.page.events import Hub


def test_nothing_that_happens_while_a_page_begins_to_listen_is_lost():
    """A photo that is kept between the list of all and the first event was shown as waiting."""

    async def heard():
        hub, state = Hub(), ["measuring"]

        def first():
            hub.tell("boats", "photo", "told meanwhile")
            return state[0]

        stream = hub.listen("boats", first)
        state[0] = "kept"  # the answer is begun, and nothing of it has been sent
        hub.tell("boats", "photo", "told before")
        return [await anext(stream), await anext(stream)]

    listed, told = asyncio.run(heard())
    assert listed == "kept"
    assert "told meanwhile" in told
