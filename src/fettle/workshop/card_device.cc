#include "fettle/workshop/card_device.h"

#include <fmt/core.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>

#include "fettle/base/text.h"
#include "fettle/workshop/families.h"

namespace fettle::workshop {
namespace {

tl::unexpected<Error> not_known(const std::string& path, const char* problem) {
    return bad_input("device-not-known", printable(path), problem,
                     Next{"`", propose(Act::list_devices), "` lists those that may be a card"});
}

}  // namespace

bool is_among_devices(const std::string& path) {
    std::error_code ec;
    const auto folder = std::filesystem::weakly_canonical(std::filesystem::absolute(path, ec), ec).parent_path();
    if (ec) return false;
    const std::string at = folder.string() + "/";
    return at.starts_with("/dev/") && !at.starts_with("/dev/shm/");
}

bool is_block_device(const std::string& path) {
    struct stat st{};
    return ::stat(path.c_str(), &st) == 0 && S_ISBLK(st.st_mode);
}

Result<card::FoundDevice> device_named(const std::string& path) {
    struct stat st{};
    const bool there = ::stat(path.c_str(), &st) == 0;
    if (there && S_ISREG(st.st_mode))
        return bad_input(
            "device-not-known", printable(path),
            "is no block device but a file: it has no capacity of its own, and nothing of it may be erased so",
            Next{"name the card's own device: `", propose(Act::list_devices),
                 "` lists those that may be one; an image is looked at with ",
                 propose(Act::audit_card, {given("file", path)})});
    if (!there || !S_ISBLK(st.st_mode)) return not_known(path, there ? "is no block device" : "is not there");
    const auto view = card::read_system();
    if (!view) return pass(view);
    const std::string number = fmt::format("{}:{}", major(st.st_rdev), minor(st.st_rdev));
    for (auto& d : card::find_devices(*view))
        if (d.number == number) return std::move(d);
    return not_known(path, "is not among the devices that the system lists");
}

std::string size_words(const card::FoundDevice& d) {
    if (d.size_bytes == 0) return "no medium";
    return fmt::format("{:.1f} GB ({})", static_cast<double>(d.size_bytes) / 1e9, human_bytes(d.size_bytes));
}

const char* EraseQuestion::to_type() const {
    return device.serial.empty() ? "size in bytes" : "serial number";
}

Status agree_to_erase(const EraseQuestion& q, const EraseConsent& consent) {
    const card::FoundDevice& d = q.device;
    const char* const what = q.to_type();
    if (!consent.serial.empty()) {
        if (card::agrees(d, consent.serial, false)) return {};
        return usage_error(
            "erase-serial-differs", with(flag("yes-erase")),
            fmt::format("'{}' is not the {} of {}, which is {}", printable(consent.serial), what, d.path, d.to_agree()),
            "make sure that this is the right card, then give its whole " + std::string(what));
    }
    const std::string typed = consent.ask ? consent.ask(q) : std::string();
    if (!typed.empty() && card::agrees(d, typed, true)) return {};
    if (!typed.empty())
        return usage_error("erase-serial-differs", d.path,
                           fmt::format("'{}' does not end its {} {}", printable(typed), what, d.to_agree()),
                           "nothing was written; make sure that this is the right card, then try again");
    return usage_error(
        "erase-not-agreed", d.path,
        fmt::format("{}{} {}, {}; on it: {}. All of that would be lost, and nobody agreed to it",
                    d.model.empty() ? "" : d.model + ", ", what, d.to_agree(), size_words(d), join(q.on_it, "; ")),
        Next{"if that may go, add ", with(given("yes-erase", d.to_agree()))});
}

Result<EraseQuestion> erase_question(const card::FoundDevice& device, Judgement known, std::string purpose) {
    const auto before = card::open_for_reading(device.path);
    if (!before) return pass(before);
    return EraseQuestion{device, card::what_is_on(**before), std::move(known), std::move(purpose)};
}

Result<DeviceList> list_devices(const Workshop& shop, const std::string& id) {
    const auto family = family_if_named(shop, id);
    if (!family) return pass(family);
    const family::CardRule* rule = *family && (*family)->card ? &*(*family)->card : nullptr;
    const auto view = card::read_system();
    if (!view) return pass(view);
    DeviceList out;
    if (*family) out.family = (*family)->id;
    for (card::FoundDevice& d : card::find_devices(*view)) {
        if (d.bus == card::Bus::loop && d.size_bytes == 0) continue;  // prepared by the system, over nothing
        Judgement judgement = card::may_be_erased(d, rule);
        out.devices.push_back({std::move(d), std::move(judgement)});
    }
    return out;
}

}  // namespace fettle::workshop
