#!/bin/sh
# A browser for the tests: an installed one, else Debian's where apt-get may install it, else playwright's own.
# Usage: get_browser.sh PYTHON
for name in chromium chromium-browser google-chrome chrome; do
  command -v "$name" >/dev/null && exit 0
done
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
  apt-get --quiet update && apt-get --quiet --yes install --no-install-recommends chromium && exit 0
fi
"$1" -m playwright install chromium && exit 0
echo "The browser tests need Chromium: none is installed, and none could be installed on this machine." >&2
exit 1
