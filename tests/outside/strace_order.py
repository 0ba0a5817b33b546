#!/usr/bin/env python3
"""Reads the log of `strace -f -yy` of a daemon that took one order, and checks the order of its
calls: the journal's write, its fdatasync, and only then the answer 202; `sending` likewise
before the first byte leaves for the printer.

    strace_order.py LOG PRINTER_PORT NUMBER

Prints `N passed, N failed`; exit code 1 where one failed.
"""
import re
import sys

CALL = re.compile(r"^(\d+)\s+(?:\d+:\d+:\d+\.\d+\s+|\d+\.\d+\s+)?(\w+)\((\d+)<(.*?)>(?=[,) ])(.*)$")
RESUMED = re.compile(r"^(\d+)\s+(?:\d+\.\d+\s+)?<\.\.\. (\w+) resumed>(.*)$")


def calls(path):
    """Every call with the line where it began and where it ended."""
    open_calls, found = {}, []
    with open(path, encoding="utf-8", errors="replace") as log:
        for at, line in enumerate(log):
            line = line.rstrip("\n")
            if match := RESUMED.match(line):
                begun = open_calls.pop((match[1], match[2]), None)
                if begun:
                    begun["text"] += match[3]
                    begun["end"] = at
                continue
            if match := CALL.match(line):
                call = {"name": match[2], "file": match[4], "text": match[5], "begin": at, "end": at}
                if line.endswith("<unfinished ...>"):
                    call["end"] = None
                    open_calls[(match[1], match[2])] = call
                found.append(call)
    return found


def main():
    log, printer, number = sys.argv[1:4]
    found = calls(log)
    passed, failed = 0, 0

    def check(what, holds):
        nonlocal passed, failed
        passed, failed = passed + bool(holds), failed + (not holds)
        if not holds:
            print(f"FAILED  {what}")

    journal = lambda call: "/journal/" in call["file"]
    writes = [c for c in found if c["name"] == "pwrite64" and journal(c)]
    syncs = [c for c in found if c["name"] == "fdatasync" and journal(c)]
    sends = [c for c in found if c["name"] in ("sendto", "writev", "write", "sendmsg") and "TCP" in c["file"]]
    check("the journal is written and synced", writes and syncs)

    kept = [c for c in writes if number in c["text"]]
    check(f"the journal's write with {number} is there", kept)
    answers = [c for c in sends if "HTTP/1.1 202" in c["text"]]
    check("there is one answer 202", len(answers) == 1)
    if kept and answers:
        write, answer = kept[0], answers[0]
        between = [s for s in syncs if write["end"] is not None and s["begin"] > write["end"]
                   and s["end"] is not None and s["end"] < answer["begin"]]
        check("fdatasync begins after the write and ends before the answer", between)
        check("fdatasync said that it worked", any(re.search(r"=\s*0\b", s["text"]) for s in between))

    # `sending` is on the disk before the first bytes of a paper leave (questions are short).
    paper = [c for c in sends if f"->127.0.0.1:{printer}]" in c["file"] and len(c["text"]) > 120]
    sending = [c for c in writes if "sending" in c["text"].lower() or '\\"sent\\"' in c["text"].lower()]
    check("a paper leaves for the printer", paper)
    check("the journal says so", sending)
    if paper and sending:
        between = [s for s in syncs if s["begin"] > sending[0]["end"] and s["end"] < paper[0]["begin"]]
        check("fdatasync ends before the paper's first byte", between)
    print(f"{passed} passed, {failed} failed")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
