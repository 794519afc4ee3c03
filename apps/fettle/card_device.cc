#include "card_device.h"

#include <fmt/core.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include <cstdio>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::app {
namespace {

// Systems count by powers of two, cards are sold by powers of ten.
std::string size_of(const card::FoundDevice& d) {
    if (d.size_bytes == 0) return "no medium";
    return fmt::format("{:.1f} GB ({})", static_cast<double>(d.size_bytes) / 1e9, human_bytes(d.size_bytes));
}

}  // namespace

bool is_block_device(const std::string& path) {
    struct stat st{};
    return ::stat(path.c_str(), &st) == 0 && S_ISBLK(st.st_mode);
}

Result<card::FoundDevice> device_named(const std::string& path) {
    struct stat st{};
    const bool there = ::stat(path.c_str(), &st) == 0;
    if (!there || !S_ISBLK(st.st_mode))
        return bad_input("device-not-known", printable(path), there ? "is no block device" : "is not there",
                         "`fettle card devices` lists those that may be a card");
    auto view = card::read_system();
    if (!view) return pass(view);
    const std::string number = fmt::format("{}:{}", major(st.st_rdev), minor(st.st_rdev));
    for (auto& d : card::find_devices(*view))
        if (d.number == number) return std::move(d);
    return bad_input("device-not-known", printable(path), "is not among the devices that the system lists",
                     "`fettle card devices` lists those that may be a card");
}

std::string page_of(const card::FoundDevice& d, const std::vector<std::string>& on_it) {
    std::string out = fmt::format("{}  {}\n", d.path, d.model.empty() ? "(gives no model)" : d.model);
    out += d.serial.empty() ? std::string("  serial    none\n")
                            : fmt::format("  serial    {} (of {})\n", d.serial, d.serial_of);
    out += fmt::format("  size      {}, {}\n", size_of(d), words(d.bus));
    for (std::size_t i = 0; i < on_it.size(); ++i) out += fmt::format("  {:<9} {}\n", i == 0 ? "on it" : "", on_it[i]);
    return out;
}

std::string ask_at_terminal(const Context& context, const std::string& question) {
    if (context.json || ::isatty(STDIN_FILENO) != 1 || ::isatty(STDERR_FILENO) != 1) return {};
    std::fprintf(stderr, "%s", question.c_str());
    std::fflush(stderr);
    std::string line;
    for (int c = std::getchar(); c != EOF && c != '\n' && line.size() < 200; c = std::getchar())
        line += static_cast<char>(c);
    return line;
}

Status agree_to_erase(const Context& context, const card::FoundDevice& d, const Judgement& known,
                      const std::vector<std::string>& on_it, const std::string& yes_erase, const std::string& why) {
    const char* const what = d.serial.empty() ? "size in bytes" : "serial number";
    if (!yes_erase.empty()) {
        if (card::agrees(d, yes_erase, false)) return {};
        return usage_error(
            "erase-serial-differs", "--yes-erase",
            fmt::format("'{}' is not the {} of {}, which is {}", printable(yes_erase), what, d.path, d.to_agree()),
            "make sure that this is the right card, then give its whole " + std::string(what));
    }
    if (context.say) {
        std::string page = page_of(d, on_it) + "  lost      all of it\n";
        for (const auto& r : known.reasons) page += fmt::format("  mind      {}\n", r.text);
        context.say(page);
    }
    const std::string typed = ask_at_terminal(
        context, fmt::format("To have it erased {}, type the last four characters of its {}: ", why, what));
    if (!typed.empty() && card::agrees(d, typed, true)) return {};
    if (!typed.empty())
        return usage_error("erase-serial-differs", d.path,
                           fmt::format("'{}' does not end its {} {}", printable(typed), what, d.to_agree()),
                           "nothing was written; make sure that this is the right card, then try again");
    return usage_error(
        "erase-not-agreed", d.path,
        fmt::format("{}{} {}, {}; on it: {}. All of that would be lost, and nobody agreed to it",
                    d.model.empty() ? "" : d.model + ", ", what, d.to_agree(), size_of(d), join(on_it, "; ")),
        fmt::format("if that may go, add --yes-erase '{}'", d.to_agree()));
}

json::object as_json(const card::FoundDevice& d) {
    return {{"path", d.path},
            {"model", d.model},
            {"serial", d.serial},
            {"serial_of", d.serial.empty() ? "" : d.serial_of},
            {"size_bytes", d.size_bytes},
            {"bus", std::string(words(d.bus))},
            {"removable", d.removable}};
}

}  // namespace fettle::app
