#include "context.h"

#include <unistd.h>

#include <array>
#include <system_error>

namespace fettle::app {
namespace fs = std::filesystem;

fs::path example_families_folder() {
    std::array<char, 4096> buffer{};
    const ssize_t n = ::readlink("/proc/self/exe", buffer.data(), buffer.size() - 1);
    if (n <= 0) return {};
    // bin/fettle → share/fettle/families when installed; …/build/PRESET/apps/fettle/fettle → families in a build tree.
    const fs::path program(std::string(buffer.data(), static_cast<std::size_t>(n)));
    std::error_code ec;
    const fs::path installed = program.parent_path().parent_path() / "share/fettle/families";
    if (fs::is_directory(installed, ec)) return installed;
    for (fs::path up = program.parent_path(); up.has_relative_path(); up = up.parent_path())
        if (fs::is_regular_file(up / "families/dunnock.toml", ec)) return up / "families";
    return {};
}

}  // namespace fettle::app
