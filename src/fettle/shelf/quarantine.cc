#include "fettle/shelf/quarantine.h"

#include <fmt/core.h>
#include <signal.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <system_error>

#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::shelf {
namespace fs = std::filesystem;
namespace {

constexpr std::string_view under_way = "copying-";

tl::unexpected<Error> failed(const fs::path& place, const std::error_code& ec) {
    return outside_error("quarantine-failed", place.string(), "the refused package cannot be copied: " + ec.message(),
                         "make room or check the rights, or keep the package where it is");
}

// Copies whose process is gone.
void clear_dead(const fs::path& quarantine) {
    std::error_code ec;
    for (const auto& e : fs::directory_iterator(quarantine, ec)) {
        const std::string name = e.path().filename().string();
        if (!name.starts_with(under_way)) continue;
        const long pid = std::atol(name.c_str() + under_way.size());
        if (pid > 0 && (pid == ::getpid() || (::kill(static_cast<pid_t>(pid), 0) != 0 && errno == ESRCH)))
            fs::remove_all(e.path(), ec);
    }
}

Status copy_plain(const fs::path& from, const fs::path& to, json::array& left_out) {
    std::error_code ec;
    if (!fs::is_directory(from)) {
        fs::copy_file(from, to, ec);
        return ec ? failed(from, ec) : Status{};
    }
    fs::create_directories(to, ec);
    if (ec) return failed(to, ec);
    fs::recursive_directory_iterator walk(from, fs::directory_options::none, ec);
    for (; !ec && walk != fs::recursive_directory_iterator(); walk.increment(ec)) {
        const fs::path relative = walk->path().lexically_relative(from);
        const fs::file_status status = walk->symlink_status(ec);
        if (ec) break;
        if (fs::is_directory(status))
            fs::create_directories(to / relative, ec);
        else if (fs::is_regular_file(status))
            fs::copy_file(walk->path(), to / relative, ec);
        else
            left_out.emplace_back(printable(relative.string()));
        if (ec) return failed(walk->path(), ec);
    }
    return ec ? failed(from, ec) : Status{};
}

std::string report_of(const AddRequest& request, const Vetting& vetting, UnixMs now, json::array left_out) {
    json::array findings;
    for (const Reason& r : vetting.judgement.reasons)
        findings.push_back(json::object{{"code", r.code},
                                        {"verdict", code(r.verdict)},
                                        {"text", r.text},
                                        {"where", r.where},
                                        {"rests_on", r.rests_on}});
    return pretty(json::object{{"refused_at", iso8601(now)},
                               {"package", printable(request.package.string())},
                               {"from", request.slip.from},
                               {"right", words(request.slip.right)},
                               {"findings", std::move(findings)},
                               {"not_copied", std::move(left_out)}});
}

}  // namespace

Result<fs::path> keep_refused(const fs::path& quarantine, const AddRequest& request, const Vetting& vetting,
                              UnixMs now) {
    if (auto ok = make_folder(quarantine); !ok) return pass(ok);
    clear_dead(quarantine);
    const fs::path copying = quarantine / fmt::format("{}{}", under_way, ::getpid());
    std::error_code ec;
    fs::create_directory(copying, ec);
    if (ec) return failed(copying, ec);
    const auto fill = [&]() -> Status {
        json::array left_out;
        if (fs::exists(request.package))
            if (auto ok = copy_plain(request.package, copying / "package", left_out); !ok) return ok;
        return write_file_durably(copying / "report.json", report_of(request, vetting, now, std::move(left_out)));
    };
    if (auto ok = fill(); !ok) {
        fs::remove_all(copying, ec);
        return pass(ok);
    }
    for (int n = 1; n < 10'000; ++n) {
        const fs::path kept = quarantine / fmt::format("{}-{:03}", iso8601(now).substr(0, 10), n);
        if (fs::exists(kept, ec)) continue;
        fs::rename(copying, kept, ec);  // onto a folder that came meanwhile it fails
        if (!ec) return kept;
        if (ec != std::errc::file_exists && ec != std::errc::directory_not_empty) break;
    }
    auto error = failed(quarantine, ec);
    fs::remove_all(copying, ec);
    return error;
}

}  // namespace fettle::shelf
