"""The review page: the same steps as the command line's, seen and confirmed in a browser.

``guard`` keeps everybody else out; ``reading`` sees how the job stands; ``views`` lays that out as
plain values; ``acts`` turns what was posted into one step's call; ``server`` joins them. A door:
every decision made here is one step's, and is in the record before the page says so.
"""
