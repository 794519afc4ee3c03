// Any bytes as an archive: opening, listing and reading must end, within bounds, with an answer or an error. In a file
// in memory: nothing is written to a disk.
#include <sys/mman.h>
#include <unistd.h>

#include <clocale>
#include <cstdint>
#include <string>

#include "fettle/shelf/names.h"
#include "fettle/shelf/package.h"
#include "fettle/shelf/vet.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle;
    static const bool once = std::setlocale(LC_CTYPE, "C.UTF-8") != nullptr;
    (void)once;
    const int fd = ::memfd_create("archive", MFD_CLOEXEC);
    if (fd < 0 || ::write(fd, data, size) != static_cast<ssize_t>(size)) return 0;
    if (auto package = shelf::open_package("/proc/self/fd/" + std::to_string(fd))) {
        const auto& members = (*package)->members();
        (void)shelf::vet_members(members, "release.json");
        (void)(*package)->visit(std::vector<bool>(members.size(), true),
                                [](std::size_t, const shelf::Read& read) -> Status {
                                    Bytes block(4096);
                                    for (int k = 0; k < 64; ++k) {
                                        auto got = read(block);
                                        if (!got) return pass(got);
                                        if (*got == 0) break;
                                    }
                                    return {};
                                });
    }
    ::close(fd);
    return 0;
}
