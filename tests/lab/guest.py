"""Runs inside the lab's virtual machine: builds each topology of the job, sends what it asks for, says what
every device saw.

The job is /job.json, a list of topologies (tests/lab/job.rs writes it). Output, one item a line:
  topology N
  seen SPACE SET DEVICE|- PROTOCOL SOURCE-PORT DESTINATION-PORT     what the packet filter recorded
  frame NUMBER SPACE DEVICE                                          who took a hand-made frame
  done
Time is the machine's own and jumps where nothing runs: waiting costs nothing.
"""

import ctypes
import errno
import json
import os
import re
import select
import socket
import struct
import sys
import time

CLONE_NEWNET = 0x40000000
MS_BIND = 4096
MNT_DETACH = 2
FRAME_TYPE = 0x88B5  # IEEE 802: for local experiments
PACKET_OTHERHOST = 3
VLAN_TYPE = 0x8100

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
        self.path = "/run/netns/" + name
        check(libc.unshare(CLONE_NEWNET), "unshare")
        open(self.path, "w").close()
        check(libc.mount(b"/proc/self/ns/net", self.path.encode(), b"none", MS_BIND, None), "mount")
        self.handle = os.open(self.path, os.O_RDONLY)

    def enter(self):
        check(libc.setns(self.handle, CLONE_NEWNET), "setns")

    def close(self):
        os.close(self.handle)
        libc.umount2(self.path.encode(), MNT_DETACH)
        os.unlink(self.path)


def batch(program, lines):
    """Runs lines of `ip` or `bridge` in the current namespace."""
    if not lines:
        return
    with open("/tmp/batch", "w") as file:
        file.write("\n".join(lines) + "\n")
    process = os.spawnv(os.P_WAIT, program, [program, "-batch", "/tmp/batch"])
    if process != 0:
        sys.exit("failed: %s\n%s" % (program, "\n".join(lines)))


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


SET = re.compile(r"set (\S+) \{[^{}]*elements = \{([^}]*)\}")
ELEMENT = re.compile(r'(?:"(\S+)" \. )?(6|17) \. (\d+) \. (\d+)')


def report(space):
    space.enter()
    lines = []
    if os.path.exists("/debug"): print(nft("list table inet lab"))
    for name, elements in SET.findall(nft("list table inet lab")):
        for device, protocol, source, destination in ELEMENT.findall(elements):
            lines.append("seen %s %s %s %s %s %s" % (
                space.name, name, device or "-", protocol, source, destination))
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
    answer(answering, 6)
    for probe in kept:
        probe.close()


def drain(takers):
    for space, device, taker in takers:
        while True:
            try:
                data, (_, _, kind, _, _) = taker.recvfrom(64)
            except BlockingIOError:
                break
            if kind != PACKET_OTHERHOST and kind != socket.PACKET_OUTGOING:
                print("frame %d %s %s" % (struct.unpack("!H", data[:2])[0], space, device))


def frames(spaces, topology):
    takers = []
    for space, device in topology["takers"]:
        spaces[space].enter()
        taker = socket.socket(socket.AF_PACKET, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK, socket.htons(FRAME_TYPE))
        taker.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        taker.bind((device, FRAME_TYPE))
        takers.append((space, device, taker))
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
    time.sleep(0.2)
    drain(takers)
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


def run(topology, root):
    def stat(): 
        w=open("/proc/stat").readline().split()[1:]
        return (int(w[0])+int(w[2])+int(w[5])+int(w[6]))/100.0
    marks = [("start", time.monotonic(), stat())]
    def mark(name):
        marks.append((name, time.monotonic(), stat()))
    spaces = {}
    for each in topology["spaces"]:
        spaces[each["name"]] = Space(each["name"])
        settings(each["settings"])
    check(libc.setns(root, CLONE_NEWNET), "setns")
    mark("spaces")
    batch(IP, topology["cables"])
    mark("cables")
    for each in topology["spaces"]:
        spaces[each["name"]].enter()
        batch(IP, each["ip"])
        batch(BRIDGE, each["bridge"])
        settings(each["late_settings"])
        if each["filter"]:
            nft(each["filter"])
    time.sleep(topology["settle"])
    mark("setup")
    answering = responders(spaces, topology["responders"])
    mark("resp")
    probes(spaces, topology["probes"], answering)
    mark("probes")
    frames(spaces, topology)
    mark("frames")
    for each in topology["spaces"]:
        spaces[each["name"]].enter()
        batch(IP, each["again_ip"])
        batch(BRIDGE, each["again_bridge"])
    mark("setup2")
    probes(spaces, topology["again"], answering)
    mark("again")
    for each in topology["spaces"]:
        if "table inet lab" in each["filter"]:
            report(spaces[each["name"]])
    mark("report")
    for each in answering:
        each.close()
    check(libc.setns(root, CLONE_NEWNET), "setns")
    for space in spaces.values():
        space.close()
    mark("close")
    for a,b in zip(marks,marks[1:]): print("time %s %.2f cpu %.2f" % (b[0], b[1]-a[1], b[2]-a[2]))


def place(program):
    for folder in ("/usr/sbin/", "/usr/bin/", "/sbin/", "/bin/"):
        if os.path.exists(folder + program):
            return folder + program
    sys.exit("no " + program)


IP = place("ip")
BRIDGE = place("bridge")


def main():
    root = os.open("/proc/self/ns/net", os.O_RDONLY)
    with open("/job.json") as file:
        job = json.load(file)
    for number, topology in enumerate(job):
        print("topology %d" % number)
        run(topology, root)
        sys.stdout.flush()
    print("done")


main()
