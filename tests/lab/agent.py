"""Runs inside a network namespace of its own: loads rule sets, sends packets, says which rule counted each.

Input, one item a line:
  ruleset            the lines up to "end" are a rule set
  packet HEX         an IP packet, whole; sent once
Output, one line a packet: "passed" or "blocked" and the name of each counter that moved.

Nothing leaves the namespace: its only interface is the loopback one.
"""

import ctypes
import json
import signal
import socket
import subprocess
import sys

SECONDS = 90
JSON_OUTPUT = 1 << 4  # libnftables: NFT_CTX_OUTPUT_JSON


class Kernel:
    """The packet filter of this namespace."""

    def __init__(self):
        self.library = ctypes.CDLL("libnftables.so.1")
        self.library.nft_ctx_new.restype = ctypes.c_void_p
        self.library.nft_ctx_get_output_buffer.restype = ctypes.c_char_p
        self.library.nft_ctx_get_error_buffer.restype = ctypes.c_char_p

    def run(self, command):
        # A context remembers what it listed, counters with it, until the rules change: one a command.
        context = ctypes.c_void_p(self.library.nft_ctx_new(0))
        self.library.nft_ctx_buffer_output(context)
        self.library.nft_ctx_buffer_error(context)
        self.library.nft_ctx_output_set_flags(context, JSON_OUTPUT)
        failed = self.library.nft_run_cmd_from_buffer(context, command.encode())
        output = self.library.nft_ctx_get_output_buffer(context).decode()
        error = self.library.nft_ctx_get_error_buffer(context).decode()
        self.library.nft_ctx_free(context)
        if failed:
            sys.exit("rule set refused: " + error)
        return output

    def moved(self):
        """Counters that moved since the last call, with how far."""
        listed = json.loads(self.run("reset counters table inet oracle"))["nftables"]
        counters = [item["counter"] for item in listed if "counter" in item]
        return [(item["name"], item["packets"]) for item in counters if item["packets"]]


def send(sockets, packet):
    """Whether the packet went out; a packet dropped on its way out is refused at once."""
    if packet[0] >> 4 == 4:
        target = (socket.inet_ntop(socket.AF_INET, packet[16:20]), 0)
        sender = sockets[0]
    else:
        target = (socket.inet_ntop(socket.AF_INET6, packet[24:40]), 0, 0, 0)
        sender = sockets[1]
    try:
        sender.sendto(packet, target)
        return True
    except PermissionError:
        return False


def prepare(networks):
    """Every address of the networks is the namespace's own, so each packet has somewhere to go."""
    subprocess.run(["ip", "link", "set", "lo", "up"], check=True)
    for network in networks:
        family = "-6" if ":" in network else "-4"
        subprocess.run(["ip", family, "route", "add", "local", network, "dev", "lo"], check=True)


def main():
    signal.alarm(SECONDS)
    prepare(sys.argv[1:])
    kernel = Kernel()
    sockets = [
        socket.socket(family, socket.SOCK_RAW, socket.IPPROTO_RAW)
        for family in (socket.AF_INET, socket.AF_INET6)
    ]
    lines = iter(sys.stdin)
    for line in lines:
        words = line.split()
        if words == ["ruleset"]:
            kernel.run("flush ruleset")
            kernel.run("".join(iter(lambda: next(lines), "end\n")))
        elif words and words[0] == "packet":
            kernel.moved()
            passed = send(sockets, bytes.fromhex(words[1]))
            moved = [name if count == 1 else f"{name}*{count}" for name, count in kernel.moved()]
            print("passed" if passed else "blocked", *moved)


main()
