#!/usr/bin/env bash
# Fetches a stock kernel for the lab's virtual machine and unpacks it into a folder. Nothing is installed.
# tests/lab/machine.rs says which folder: the target folder's tmp/lab-kernel.
set -euo pipefail
folder=$(realpath -m "${1:?folder to unpack into}")
[ -e "$folder/boot" ] && exit 0
name=linux-image-cloud-amd64
apt-cache show "$name" >/dev/null 2>&1 || apt-get update -qq
package=$(apt-cache depends "$name" | sed -n 's/^ *Depends: \(linux-image-[0-9].*\)$/\1/p' | head -n 1)
mkdir -p "$folder.part"
cd "$folder.part"
apt-get download -qq "$package"
dpkg-deb -x "$package"_*.deb .
rm ./*.deb
# Only a whole kernel gets the name that the test looks for.
cd ..
rm -rf "$folder"
mv "$folder.part" "$folder"
