// Any bytes as names, one a line. A path that passes must hold to the plainest reading of the rules, and a name's key
// must be its own key.
#include <cstdint>
#include <cstdlib>

#include "fettle/base/text.h"
#include "fettle/shelf/names.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle;
    if (size > 1 << 16) return 0;
    const std::vector<std::string> paths = split({reinterpret_cast<const char*>(data), size}, '\n');
    for (const std::string& path : paths) {
        if (is_utf8(path) && shelf::name_key(shelf::name_key(path)) != shelf::name_key(path)) std::abort();
        if (!shelf::check_path(path).empty()) continue;
        if (path.empty() || path.front() == '/' || path.find('\\') != std::string::npos || !is_utf8(path)) std::abort();
        for (const std::string& part : split(path, '/'))
            if (part.empty() || part == ".." || part.back() == '.' || part.find('\0') != std::string::npos)
                std::abort();
    }
    (void)shelf::check_clashes(paths);
    return 0;
}
