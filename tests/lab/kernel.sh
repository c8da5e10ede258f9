#!/usr/bin/env bash
# Fetches a stock kernel for the lab's virtual machine and unpacks it into a folder. Nothing is installed.
# tests/lab/machine.rs says which folder: the target folder's tmp/lab-kernel.
set -euo pipefail
folder=${1:?folder to unpack into}
[ -e "$folder/boot" ] && exit 0
mkdir -p "$folder"
cd "$folder"
package=$(apt-cache depends linux-image-cloud-amd64 | sed -n 's/^ *Depends: \(linux-image-[0-9].*\)$/\1/p' | head -n 1)
apt-get download -qq "$package"
dpkg-deb -x "$package"_*.deb .
rm -f ./*.deb
