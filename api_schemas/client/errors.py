"""What a request may come to when it is not answered as asked."""

from api_schemas.problems import MemberProblem, ProblemDocument


class ProblemRefused(Exception):
    """The service answered with a problem document: nothing was done."""

    def __init__(self, document: ProblemDocument) -> None:
        self.document = document
        super().__init__(in_words(document))

    @property
    def status(self) -> int:
        """The HTTP status."""
        return self.document.status

    @property
    def type(self) -> str:
        """Stable, like `/problems/confirmation-needed`."""
        return self.document.type

    @property
    def errors(self) -> list[MemberProblem]:
        """What is wrong with which member."""
        return self.document.errors


class NotReached(Exception):
    """The service did not answer: whether it did what was asked is not known. Ask again, with the same key."""


def in_words(document: ProblemDocument) -> str:
    """The detail, and each member that it does not name already.

    >>> in_words(ProblemDocument(type="/problems/not-found", title="None", status=404, detail="there is no task 7"))
    'there is no task 7'
    """
    lines = [document.detail or document.title]
    lines += [f"  {each.member}: {each.says}" for each in document.errors if each.says not in lines[0]]
    return "\n".join(lines)
