#!/bin/bash
# A service manager of a person, alone in namespaces of its own, and a prompt inside it: commands come in by
# standard input, one a line, each runs as that person, and its output is followed by a line with its exit code.
#
# Three things are not optional. The process goes into a control group of its own first, because a service
# manager moves every process it finds in its group. /run/systemd/system has to exist, because without it the
# manager ends at once and says nothing. And home and runtime folders lie where they do on a real computer,
# because some sandbox settings of the unit work only in unusual places.
#
#     systemd.sh PROGRAM UNIT PERSON

set -u
program=$1 unit=$2 person=$3

if [ "${4:-}" != inside ]; then
    root=$(awk '$3 == "cgroup2" { print $2; exit }' /proc/mounts)
    own=$(sed -n 's/^0:://p' /proc/self/cgroup)
    group=${root}${own%/}/recheck-test-$$
    clean_up() {
        echo $$ > "${root}${own%/}/cgroup.procs"
        # What ended with the namespaces leaves its groups behind, the deepest first. The kernel lets go of them
        # a moment after the last process has.
        for _ in $(seq 50); do
            find "$group" -depth -type d -exec rmdir {} + 2>/dev/null
            [ -d "$group" ] || return
            sleep 0.1
        done
        echo "cannot remove $group" >&2
    }
    # What cannot be done here is said in one line, and the test is skipped with it.
    cannot() { echo "cannot $1"; exit 1; }
    [ -n "$root" ] || cannot "find a cgroup2 hierarchy"
    unshare -C -m -p -f true 2>/dev/null || cannot "make namespaces"
    mkdir "$group" 2>/dev/null || cannot "make a control group"
    trap clean_up EXIT
    echo $$ > "$group/cgroup.procs" || cannot "enter a control group"
    unshare -C -m --propagation private -p -f --kill-child --mount-proc bash "$0" "$program" "$unit" "$person" inside
    exit
fi

uid=$(id -u "$person") gid=$(id -g "$person")
mount -t tmpfs tmpfs /run
# The last two are made by the computer's own service manager, and a person's manager builds sandboxes in them.
mkdir -p /run/systemd/system /run/parts "/run/user/$uid" /run/systemd/unit-root /run/systemd/mount-rootfs
cp "$program" /run/parts/recheck
cp "$unit" /run/parts/recheck.service
umount -R /sys/fs/cgroup
mount -t cgroup2 cgroup2 /sys/fs/cgroup
mkdir /sys/fs/cgroup/session
chown "$uid:$gid" /sys/fs/cgroup/session /sys/fs/cgroup/session/cgroup.procs /sys/fs/cgroup/cgroup.procs

# Last, because the parts above may themselves lie in one of these.
mount -t tmpfs tmpfs /home
mount -t tmpfs tmpfs /tmp
export HOME=/home/wearer XDG_RUNTIME_DIR=/run/user/$uid
mkdir -p "$HOME/.local/bin" "$HOME/.config/systemd/user" "$HOME/.config/recheck" "$HOME/exports" "$XDG_RUNTIME_DIR/systemd"
install -m 755 /run/parts/recheck "$HOME/.local/bin/recheck"
cp /run/parts/recheck.service "$HOME/.config/systemd/user/"
chown -R "$uid:$gid" "$HOME" "$XDG_RUNTIME_DIR"
chmod 700 "$HOME" "$XDG_RUNTIME_DIR"
cd "$HOME" || exit 1

cat > /run/parts/inner.sh <<'INNER'
echo $BASHPID > /sys/fs/cgroup/session/cgroup.procs
/usr/lib/systemd/systemd --user --log-target=console --show-status=no < /dev/null > /dev/null 2>&1 &
for _ in $(seq 200); do
    [ -S "$XDG_RUNTIME_DIR/systemd/private" ] && break
    sleep 0.05
done
echo ready
while IFS= read -r line; do
    timeout 60 bash -c "$line" < /dev/null 2>&1
    code=$?
    echo
    echo "exit $code"
done
systemctl --user exit
INNER
exec setpriv --reuid="$uid" --regid="$gid" --clear-groups env -i PATH=/usr/bin:/bin HOME="$HOME" XDG_RUNTIME_DIR="$XDG_RUNTIME_DIR" \
    LANG=C.UTF-8 bash /run/parts/inner.sh
