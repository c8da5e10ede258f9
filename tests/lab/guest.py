"""Runs inside the lab's virtual machine: builds each topology of the job, sends what it asks for, says what
every device saw.

The job is /job.json, a list of topologies (tests/lab/job.rs writes it). Output, one item a line:
  topology N
  seen SPACE SET DEVICE|- PROTOCOL SOURCE-PORT DESTINATION-PORT     what the packet filter recorded
  frame NUMBER SPACE DEVICE                                          who took a hand-made frame
  message NUMBER SPACE                                               who took a message of ICMP or an answer to it
  done
Time is the machine's own and jumps where nothing runs: waiting costs nothing.
"""

import ctypes
import errno
import json
import os
import select
import socket
import struct
import sys
import time

import netlink

CLONE_NEWNET = 0x40000000
FRAME_TYPE = 0x88B5  # IEEE 802: for local experiments
EVERY_TYPE = 3
MARK = b"\xb0\xda"  # of messages that are ours, in the first two octets after the checksum
PACKET_OTHERHOST = 3
VLAN_TYPE = 0x8100
WAIT = 1.5  # seconds for everything to arrive; whoever is found at all answers at once

libc = ctypes.CDLL(None, use_errno=True)
nftables = ctypes.CDLL("libnftables.so.1")
nftables.nft_ctx_new.restype = ctypes.c_void_p
nftables.nft_ctx_get_output_buffer.restype = ctypes.c_char_p
nftables.nft_ctx_get_error_buffer.restype = ctypes.c_char_p


def check(result, what):
    if result != 0:
        raise OSError(ctypes.get_errno(), what)


class Space:
    """One network namespace."""

    def __init__(self, name):
        self.name = name
        check(libc.unshare(CLONE_NEWNET), "unshare")
        self.handle = os.open("/proc/self/ns/net", os.O_RDONLY)

    def enter(self):
        check(libc.setns(self.handle, CLONE_NEWNET), "setns")

    def close(self):
        os.close(self.handle)


def nft(command):
    context = ctypes.c_void_p(nftables.nft_ctx_new(0))
    nftables.nft_ctx_buffer_output(context)
    nftables.nft_ctx_buffer_error(context)
    failed = nftables.nft_run_cmd_from_buffer(context, command.encode())
    output = nftables.nft_ctx_get_output_buffer(context).decode()
    error = nftables.nft_ctx_get_error_buffer(context).decode()
    nftables.nft_ctx_free(context)
    if failed:
        sys.exit("refused: %s\n%s" % (error, command))
    return output


def settings(pairs):
    for name, value in pairs:
        with open("/proc/sys/" + name, "w") as file:
            file.write(value)


def report(space, sets):
    space.enter()
    lines = []
    kernel = netlink.Netlink(netlink.NETFILTER)
    for name in sets:
        for key in kernel.elements("lab", name):
            device = "-"
            if len(key) > 12:
                device, key = key[:16].rstrip(b"\0").decode(), key[16:]
            protocol, source, target = struct.unpack("!BxxxHxxHxx", key)
            if protocol in (socket.IPPROTO_TCP, socket.IPPROTO_UDP):
                lines.append("seen %s %s %s %d %d %d" % (space.name, name, device, protocol, source, target))
    kernel.close()
    if lines:
        print("\n".join(lines))


def family(address):
    return socket.AF_INET6 if ":" in address else socket.AF_INET


def quiet(action):
    """Errors such as "no route" are an outcome like any other: the packet is not seen anywhere."""
    try:
        action()
    except OSError as error:
        if error.errno not in (errno.EINPROGRESS, errno.EHOSTUNREACH, errno.ENETUNREACH, errno.EACCES,
                               errno.ECONNREFUSED, errno.EINVAL, errno.EPERM):
            raise


def answer(sockets, seconds):
    """Sends back what arrives, for so many of the machine's seconds."""
    poll = select.poll()
    by_number = {}
    for each in sockets:
        poll.register(each, select.POLLIN)
        by_number[each.fileno()] = each
    end = time.monotonic() + seconds
    while True:
        left = end - time.monotonic()
        if left <= 0:
            return
        for number, _ in poll.poll(left * 1000):
            here = by_number[number]
            try:
                data, sender = here.recvfrom(100)
                here.sendto(data, sender)
            except OSError:
                pass


def probes(spaces, listed, answering):
    """Sends every probe once; the source port is its number."""
    kept = []
    for name, wanted in listed:
        spaces[name].enter()
        for protocol, source, number, target, port in wanted:
            kind = socket.SOCK_STREAM if protocol == "tcp" else socket.SOCK_DGRAM
            probe = socket.socket(family(source), kind | socket.SOCK_NONBLOCK)
            kept.append(probe)
            probe.bind((source, number))
            if protocol == "tcp":
                quiet(lambda: probe.connect((target, port)))
            else:
                quiet(lambda: probe.sendto(str(number).encode(), (target, port)))
    answer(answering, WAIT)
    for probe in kept:
        probe.close()


def number_below_tags(kind, data):
    """The number of a frame of ours under whatever tags it left with, or nothing."""
    while kind == VLAN_TYPE and len(data) >= 4:
        kind, data = struct.unpack("!H", data[2:4])[0], data[4:]
    return struct.unpack("!H", data[:2])[0] if kind == FRAME_TYPE else None


def drain_spares(spares):
    for space, device, taker in spares:
        while True:
            try:
                data, (_, kind, direction, _, _) = taker.recvfrom(64)
            except BlockingIOError:
                break
            number = number_below_tags(kind, data)
            if number is not None and direction != socket.PACKET_OUTGOING:
                print("frame %d %s %s" % (number, space, device))


def drain(takers):
    for space, device, taker in takers:
        while True:
            try:
                data, (by, _, kind, _, _) = taker.recvfrom(64)
            except BlockingIOError:
                break
            # A cable's own taker is shown what its tagged interfaces take as well.
            if by == device and kind not in (PACKET_OTHERHOST, socket.PACKET_OUTGOING):
                print("frame %d %s %s" % (struct.unpack("!H", data[:2])[0], space, device))


def frames(spaces, topology):
    takers = []
    for space, device in topology["takers"]:
        spaces[space].enter()
        taker = socket.socket(socket.AF_PACKET, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK, socket.htons(FRAME_TYPE))
        taker.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        taker.bind((device, FRAME_TYPE))
        takers.append((space, device, taker))
    spares = []
    for space, device in topology["spares"]:
        spaces[space].enter()
        taker = socket.socket(socket.AF_PACKET, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK, socket.htons(EVERY_TYPE))
        taker.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        taker.bind((device, EVERY_TYPE))
        spares.append((space, device, taker))
    for space, device, number, stacks in topology["frames"]:
        spaces[space].enter()
        sender = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
        sender.bind((device, 0))
        for tags in stacks:
            head = b"\xff" * 6 + sender.getsockname()[4]
            for tag in tags:
                head += struct.pack("!HH", VLAN_TYPE, tag)
            body = struct.pack("!HH", FRAME_TYPE, number)
            sender.send((head + body).ljust(64, b"\0"))
            number += 1
        sender.close()
        time.sleep(0.01)
        drain(takers)
        drain_spares(spares)
    time.sleep(0.2)
    drain(takers)
    drain_spares(spares)
    for _, _, taker in takers + spares:
        taker.close()


def checksum(data):
    total = sum(struct.unpack("!%dH" % (len(data) // 2), data))
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    return ~total & 0xFFFF


def icmp(version):
    if version == 4:
        return socket.socket(socket.AF_INET, socket.SOCK_RAW | socket.SOCK_NONBLOCK, socket.IPPROTO_ICMP)
    return socket.socket(socket.AF_INET6, socket.SOCK_RAW | socket.SOCK_NONBLOCK, socket.IPPROTO_ICMPV6)


def take_messages(takers, seconds):
    """Says who takes messages of ours, for so many of the machine's seconds."""
    poll = select.poll()
    by_number = {}
    for space, version, taker in takers:
        poll.register(taker, select.POLLIN)
        by_number[taker.fileno()] = space, version, taker
    end = time.monotonic() + seconds
    while True:
        left = end - time.monotonic()
        if left <= 0:
            return
        for number, _ in poll.poll(left * 1000):
            space, version, taker = by_number[number]
            try:
                data = taker.recv(200)
            except OSError:
                continue
            if version == 4:
                data = data[(data[0] & 15) * 4:]
            if data[4:6] == MARK:
                print("message %d %s" % (struct.unpack("!H", data[6:8])[0], space))


def messages(spaces, listed):
    if not listed:
        return
    takers = []
    for name, space in spaces.items():
        space.enter()
        takers += [(name, version, icmp(version)) for version in (4, 6)]
    for name, source, target, kind, code, number in listed:
        spaces[name].enter()
        version = 6 if ":" in target else 4
        sender = icmp(version)
        sender.bind((source, 0))
        body = MARK + struct.pack("!H", number) + b"boundwalk " * 4
        total = checksum(struct.pack("!BBH", kind, code, 0) + body) if version == 4 else 0
        quiet(lambda: sender.sendto(struct.pack("!BBH", kind, code, total) + body, (target, 0)))
        sender.close()
    take_messages(takers, WAIT)
    for _, _, taker in takers:
        taker.close()


def responders(spaces, listed):
    sockets = []
    for name, address, port in listed:
        spaces[name].enter()
        here = socket.socket(family(address), socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)
        here.bind((address, port))
        sockets.append(here)
    return sockets


def take_steps(space, steps):
    space.enter()
    kernel = netlink.Netlink(socket.NETLINK_ROUTE)
    for step in steps:
        kernel.do(step)
    kernel.close()


def lay_cables(spaces, cables):
    kernel = netlink.Netlink(socket.NETLINK_ROUTE)
    for space, name, address, other, peer, peer_address in cables:
        handles = spaces[space].handle, spaces[other].handle
        kernel.do(["veth", name, address, handles[0], peer, peer_address, handles[1]])
    kernel.close()


def run(topology):
    spaces = {}
    for each in topology["spaces"]:
        spaces[each["name"]] = Space(each["name"])
        settings(each["settings"])
    lay_cables(spaces, topology["cables"])
    for each in topology["spaces"]:
        take_steps(spaces[each["name"]], each["steps"])
        settings(each["late_settings"])
        if each["filter"]:
            nft(each["filter"])
    time.sleep(topology["settle"])
    answering = responders(spaces, topology["responders"])
    probes(spaces, topology["probes"], answering)
    messages(spaces, topology["messages"])
    frames(spaces, topology)
    for each in topology["spaces"]:
        take_steps(spaces[each["name"]], each["again"])
    probes(spaces, topology["second"], answering)
    for each in topology["spaces"]:
        report(spaces[each["name"]], each["sets"])
    for each in answering:
        each.close()
    for space in spaces.values():
        space.close()


def main():
    with open("/job.json") as file:
        job = json.load(file)
    for number, topology in enumerate(job):
        print("topology %d" % number)
        run(topology)
        sys.stdout.flush()
    print("done")


main()
