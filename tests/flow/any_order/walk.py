"""A random walk over what people and machines do to the tiny plant, with a look at the books after each step."""

from hypothesis.stateful import precondition, rule

from service.problems import KeyReused
from tests.flow.any_order.correcting import Correcting
from tests.flow.any_order.running_orders import RunningOrders
from tests.flow.any_order.telling_by_files import TellingByFiles
from tests.flow.any_order.walking import any_of, one


class Walk(TellingByFiles, RunningOrders, Correcting):
    """Each rule is one thing that happens; any request that was acknowledged can come once more."""

    @precondition(lambda self: self.acknowledged)
    @rule(which=any_of)
    def repeat_a_request(self, which: int) -> None:
        earlier = one(self.acknowledged, which)
        response = earlier.request.send(earlier.key)
        assert response.body == earlier.answer
        assert response.headers["Idempotency-Replayed"] == "true"
        self._changes_only("repeat_a_request")

    @precondition(lambda self: len(self.acknowledged) > 1)
    @rule(which=any_of)
    def use_the_key_of_another_request(self, which: int) -> None:
        request, other = one(self.acknowledged, which).request, one(self.acknowledged, which + 1)
        if request.says == other.request.says:
            return
        try:
            request.send(other.key)
        except KeyReused:
            self._refused("use_the_key_of_another_request")
        else:
            raise AssertionError("a key answered for a request with another body")
