"""The kernel's interfaces, addresses, routes and bridge ports by rtnetlink, and the packet filter's sets by
nfnetlink: starting a program for each would take most of the lab's time.

Numbers after the kernel's headers if_link.h, rtnetlink.h, neighbour.h, if_bridge.h and nf_tables.h.
"""

import os
import socket
import struct

NEWLINK, SETLINK, NEWADDR, NEWROUTE, NEWNEIGH = 16, 19, 20, 24, 28
REQUEST, ACK, REPLACE, CREATE, DUMP = 1, 4, 256, 1024, 768
ERROR, DONE = 2, 3
NETFILTER = 12
UP, NOARP = 1, 128
NESTED = 1 << 15


def attr(kind, data):
    return struct.pack("=HH", len(data) + 4, kind) + data + bytes(-len(data) % 4)


def text(kind, value):
    return attr(kind, value.encode() + b"\0")


def number(kind, value, form="I"):
    return attr(kind, struct.pack("=" + form, value))


def nest(kind, *parts):
    return attr(kind | NESTED, b"".join(parts))


def mac(value):
    return bytes.fromhex(value.replace(":", ""))


def packed(address):
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    return family, socket.inet_pton(family, address)


def index(name):
    return socket.if_nametoindex(name)


def link(name=None, flags=0, mask=0, parts=(), family=0, at=0):
    head = struct.pack("=BxHiII", family, 0, at or (index(name) if name else 0), flags, mask)
    return head + b"".join(parts)


def info(kind, *data):
    return nest(18, text(1, kind), nest(2, *data))


# One function a step; each gives the message's type, its flags and its body.

def veth(name, address, handle, peer, peer_address, peer_handle):
    other = link(parts=[text(3, peer), attr(1, mac(peer_address)), number(28, peer_handle)])
    parts = [text(3, name), attr(1, mac(address)), number(28, handle), info("veth", attr(1, other))]
    return NEWLINK, CREATE, link(parts=parts)


def bridge(name, filtering):
    data = [number(7, filtering, "B"), number(39, 0, "H"), number(23, 0, "B"), number(5, 0), number(1, 0)]
    return NEWLINK, CREATE, link(parts=[text(3, name), info("bridge", *data)], flags=UP, mask=UP)


def bond(name, mode):
    data = {
        "active": [number(1, 4, "B"), number(3, 100), number(21, 1, "B"), number(29, 1, "B")],
        "passive": [number(1, 4, "B"), number(3, 100), number(21, 1, "B"), number(29, 0, "B")],
        "static": [number(1, 2, "B"), number(3, 100)],
    }[mode]
    return NEWLINK, CREATE, link(parts=[text(3, name), info("bond", *data)])


def tagged(base, name, tag):
    parts = [number(5, index(base)), text(3, name), info("vlan", number(1, tag, "H"))]
    return NEWLINK, CREATE, link(parts=parts, flags=UP, mask=UP)


def up(name):
    return NEWLINK, 0, link(name, UP, UP)


def silent(name):
    return NEWLINK, 0, link(name, NOARP, NOARP)


def hardware(name, address):
    return NEWLINK, 0, link(name, parts=[attr(1, mac(address))])


def master(name, over):
    return NEWLINK, 0, link(name, parts=[number(10, index(over))])


def member(name, tag, native, untagged):
    flags = (2 if native else 0) | (4 if untagged else 0)
    vlan = attr(2, struct.pack("=HH", flags, tag))
    return SETLINK, 0, link(name, family=socket.AF_BRIDGE, parts=[nest(26, vlan)])


def isolated(name):
    return SETLINK, 0, link(name, family=socket.AF_BRIDGE, parts=[nest(12, number(33, 1, "B"))])


def deaf(name):
    """No learning: frames go wherever flooding brings them."""
    return SETLINK, 0, link(name, family=socket.AF_BRIDGE, parts=[nest(12, number(8, 0, "B"))])


def address(name, value, length):
    family, data = packed(value)
    # IFA_F_NODAD, which IPv4 does not know.
    flags = 2 if family == socket.AF_INET6 else 0
    head = struct.pack("=BBBBi", family, length, flags, 0, index(name))
    return NEWADDR, CREATE, head + attr(2, data) + attr(1, data)


def route(value, length, via, name):
    family, data = packed(value)
    head = struct.pack("=BBBBBBBBI", family, length, 0, 0, 254, 4, 0, 1 if via else 6, 0)
    parts = [attr(1, data)] if length else []
    if via:
        parts += [number(4, index(name)), attr(5, packed(via)[1])]
    return NEWROUTE, CREATE, head + b"".join(parts)


def neighbour(name, value, address):
    family, data = packed(value)
    head = struct.pack("=BxxxiHBB", family, index(name), 128, 0, 0)
    return NEWNEIGH, CREATE | REPLACE, head + attr(1, data) + attr(2, mac(address))


STEPS = {each.__name__: each for each in (
    veth, bridge, bond, tagged, up, silent, hardware, master, member, isolated, deaf, address, route, neighbour)}


class Netlink:
    """A socket to the kernel, in the namespace that it was made in."""

    def __init__(self, protocol):
        self.socket = socket.socket(socket.AF_NETLINK, socket.SOCK_RAW, protocol)

    def close(self):
        self.socket.close()

    def ask(self, kind, flags, body):
        head = struct.pack("=IHHII", len(body) + 16, kind, flags | REQUEST, 0, 0)
        self.socket.send(head + body)

    def do(self, step):
        kind, flags, body = STEPS[step[0]](*step[1:])
        self.ask(kind, flags | ACK, body)
        answer = self.socket.recv(65536)
        failed = struct.unpack_from("=i", answer, 16)[0]
        if failed:
            raise OSError(-failed, "%s: %s" % (os.strerror(-failed), step))

    def elements(self, table, name):
        """Keys of a set of the packet filter."""
        body = struct.pack("=BBH", 1, 0, 0) + text(1, table) + text(2, name)
        self.ask(10 << 8 | 13, DUMP, body)
        found = []
        while True:
            answer = self.socket.recv(1 << 20)
            at = 0
            while at < len(answer):
                length, kind = struct.unpack_from("=IH", answer, at)
                if kind == DONE:
                    return found
                if kind == ERROR:
                    raise OSError("no set " + name)
                for what, inner in attributes(answer[at + 20:at + length]):
                    if what == 3:
                        found += [key(element) for _, element in attributes(inner)]
                at += (length + 3) & ~3


def key(element):
    """The value in the key of a set's element."""
    for what, inner in attributes(element):
        if what == 1:
            return next(attributes(inner))[1]
    raise OSError("an element without a key")


def attributes(data):
    at = 0
    while at < len(data):
        length, kind = struct.unpack_from("=HH", data, at)
        yield kind & 0x3FFF, data[at + 4:at + length]
        at += (length + 3) & ~3
