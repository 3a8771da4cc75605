/* For the tests: lets programs that use libserialport open a pseudo-terminal.
 * The library looks the port up below /sys/class/tty, where pseudo-terminals are
 * not, and sets modem lines, which they do not have. Loaded with LD_PRELOAD. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdarg.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>

static const char kPlace[] = "/sys/class/tty/pts/";

static int is_pty(const char* path) { return strncmp(path, kPlace, sizeof kPlace - 1) == 0; }

/* "Is there such a port?" A link into the devices, as real ports have. Debian's
 * library asks by the C library's older name of lstat(2). */
int __lxstat(int version, const char* path, struct stat* out) {
  static int (*real)(int, const char*, struct stat*);
  if (is_pty(path)) {
    memset(out, 0, sizeof *out);
    out->st_mode = S_IFLNK | 0777;
    return 0;
  }
  if (!real) real = (int (*)(int, const char*, struct stat*))dlsym(RTLD_NEXT, "__lxstat");
  return real(version, path, out);
}

/* "What kind of port is it?" Neither USB nor Bluetooth. */
ssize_t readlink(const char* path, char* out, size_t size) {
  static ssize_t (*real)(const char*, char*, size_t);
  static const char target[] = "../../devices/virtual/tty/pts";
  if (is_pty(path) && size > sizeof target) {
    memcpy(out, target, sizeof target - 1);
    return (ssize_t)(sizeof target - 1);
  }
  if (!real) real = (ssize_t(*)(const char*, char*, size_t))dlsym(RTLD_NEXT, "readlink");
  return real(path, out, size);
}

/* Modem lines: none are set, and setting them does nothing. */
int ioctl(int fd, unsigned long request, ...) {
  static int (*real)(int, unsigned long, void*);
  va_list more;
  va_start(more, request);
  void* argument = va_arg(more, void*);
  va_end(more);
  if (!real) real = (int (*)(int, unsigned long, void*))dlsym(RTLD_NEXT, "ioctl");
  const int result = real(fd, request, argument);
  if (result == 0 || (request != TIOCMGET && request != TIOCMSET && request != TIOCMBIS &&
                      request != TIOCMBIC))
    return result;
  if (request == TIOCMGET) *(int*)argument = 0;
  return 0;
}
