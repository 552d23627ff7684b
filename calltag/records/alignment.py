"""How takes of one moment lie against each other."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True, kw_only=True)
class Alignment:
    """How two takes that heard the same moment lie against each other.

    What take A heard at `a_s` of its own seconds, take B heard at
    ``(a_s - offset_s) * (1 + drift_ppm / 1e6)`` of its own.

    Attributes
    ----------
    take_a, take_b : str
        Paths of the takes below the rushes folder.
    offset_s : float
        Where take B begins, in seconds of take A; below zero where B began first.
    drift_ppm : float
        By how many millionths take B's clock is faster than take A's.
    confidence : float
        Probability that the takes heard the same moment, so laid; from 0 to 1.
    overlap_s : float
        Length of what both heard; zero where take B is the file that take A goes on in.

    Examples
    --------
    >>> pair = Alignment(take_a="A001.mov", take_b="B001.mov", offset_s=5.0, drift_ppm=100.0,
    ...                  confidence=1.0, overlap_s=20.0)
    >>> round(pair.in_b(15.0), 4), round(pair.in_a(10.001), 4)
    (10.001, 15.0)
    """

    take_a: str
    take_b: str
    offset_s: float
    drift_ppm: float
    confidence: float
    overlap_s: float

    @property
    def pair(self) -> frozenset[str]:
        """Paths of the two takes, whichever of them is take A."""
        return frozenset((self.take_a, self.take_b))

    @property
    def is_join(self) -> bool:
        """Whether take B is the file that take A goes on in: nothing was heard in both."""
        return self.overlap_s == 0

    def in_b(self, a_s: float) -> float:
        """Turn seconds of take A into seconds of take B.

        Parameters
        ----------
        a_s : float
            A time in take A.

        Returns
        -------
        float
            When take B heard the same; outside the take where it did not run.
        """
        return (a_s - self.offset_s) * (1 + self.drift_ppm / 1e6)

    def in_a(self, b_s: float) -> float:
        """Turn seconds of take B into seconds of take A.

        Parameters
        ----------
        b_s : float
            A time in take B.

        Returns
        -------
        float
            When take A heard the same; outside the take where it did not run.
        """
        return b_s / (1 + self.drift_ppm / 1e6) + self.offset_s

    def turned(self) -> Alignment:
        """Exchange the takes.

        Returns
        -------
        Alignment
            The same, with take B as take A.
        """
        faster = 1 + self.drift_ppm / 1e6
        return replace(
            self,
            take_a=self.take_b,
            take_b=self.take_a,
            offset_s=self.in_b(0.0),
            drift_ppm=(1 / faster - 1) * 1e6,
        )
