"""The appendix: what it holds, how its captions read, and the formats it is written in.

``contents`` is what every format prints from; ``captions`` and ``cautions`` hold its sentences;
``marks`` draws on copies; ``writers`` lists the formats; ``size`` fits a mail limit.
"""
