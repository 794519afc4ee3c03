// What speaks against erasing a device.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/card/devices.h"

namespace fettle::card {
namespace {

constexpr const char* rests_on_system = "/sys and /proc of this system";

struct Judge {
    const FoundDevice& d;
    const family::CardRule* rule;
    Judgement out;

    void add(const char* code, Verdict v, std::string text, const char* rests_on = rests_on_system) {
        out.add(Reason{code, v, std::move(text), "", rests_on});  // the text names the device
    }

    // A card sits in an SD slot or on USB. Everything else is part of the computer.
    void kind() {
        const std::string bus(words(d.bus));
        switch (d.bus) {
            case Bus::sd: return;
            case Bus::usb:
                if (d.rotating)
                    add("device-not-a-card", Verdict::halt,
                        fmt::format("{} is a hard disk with turning platters on USB, no card and no stick.", d.path));
                else if (!d.removable && !(rule && rule->max_bytes))
                    add("device-not-a-card", Verdict::halt,
                        fmt::format("{} says that it is a fixed disk on USB, and no family names the largest card that "
                                    "would tell it from one.",
                                    d.path));
                return;
            case Bus::loop:
                add("device-loop", Verdict::mind,
                    fmt::format("{} is no card: a loop device over {}.", d.path,
                                d.backing.empty() ? "no file" : "'" + d.backing + "'"));
                // Under /dev stand devices, but for the files in memory.
                if (!d.backing.starts_with('/') ||
                    (d.backing.starts_with("/dev/") && !d.backing.starts_with("/dev/shm/")))
                    add("device-not-a-card", Verdict::halt,
                        fmt::format("{} is a loop device over another device or over nothing.", d.path));
                return;
            case Bus::soldered:
                add("device-soldered", Verdict::halt,
                    fmt::format("{} is memory soldered into this computer (eMMC): it shares the bus of SD cards, but "
                                "says type MMC.",
                                d.path));
                return;
            case Bus::sata:
            case Bus::nvme:
            case Bus::scsi:
            case Bus::virtio:
            case Bus::mapped:
            case Bus::memory:
                add("device-is-a-disk", Verdict::halt,
                    fmt::format("{} is part of this computer ({}), not a card.", d.path, bus));
                return;
            case Bus::unknown: break;
        }
        add("device-not-a-card", Verdict::halt,
            fmt::format("{} sits neither in an SD slot nor on USB as a disk{}.", d.path,
                        d.card_type.empty() ? std::string() : " (it says type " + d.card_type + ")"));
    }

    void taken_by_family() {
        if (!rule || d.partition()) return;
        const auto takes = [&](const char* kind) {
            return rule->media.empty() || std::find(rule->media.begin(), rule->media.end(), kind) != rule->media.end();
        };
        if (takes("block-device")) return;
        if (d.bus == Bus::sd && !takes("sd"))
            add("device-kind-not-taken", Verdict::halt,
                fmt::format("{} is an SD card; the family's boxes take {}.", d.path, join(rule->media, ", ")),
                "family file");
        if (d.bus == Bus::usb && !(takes("sd") && takes("usb-stick")))
            add("device-kind-unclear", Verdict::mind,
                fmt::format("Whether {} is a stick or a card in a reader cannot be told over USB; the family's boxes "
                            "take {}.",
                            d.path, join(rule->media, ", ")),
                "family file");
    }

    void size() {
        if (d.size_bytes == 0) {
            add("device-no-medium", Verdict::halt, fmt::format("{} holds no medium, or gives no size.", d.path));
            return;
        }
        const std::uint64_t most = rule && rule->max_bytes ? rule->max_bytes : rule ? 0 : most_without_rule;
        const bool named = rule && rule->max_bytes;
        // Sold as 32 GB means 32 thousand million bytes, less than 32 GiB: nothing to allow for.
        if (most != 0 && d.size_bytes > most)
            add("card-too-large", Verdict::halt,
                fmt::format(
                    "{} has {}, more than {} {}.", d.path, human_bytes(d.size_bytes),
                    named ? "the family's boxes take:" : "Fettle erases without a family's limit:", human_bytes(most)),
                named ? "family file" : "common practice");
        if (rule && d.size_bytes < rule->min_bytes)
            add("card-too-small", Verdict::halt,
                fmt::format("{} has {}; the family's boxes take {} or more.", d.path, human_bytes(d.size_bytes),
                            human_bytes(rule->min_bytes)),
                "family file");
    }

    void used() {
        for (const auto& u : d.uses) {
            if (u.kind == Use::held) {
                add("device-in-use", Verdict::halt, fmt::format("{} is held by {}.", u.node, u.where));
            } else if (u.system) {
                add("device-holds-system", Verdict::halt,
                    u.kind == Use::swap
                        ? fmt::format("{} is swap of the running system.", u.node)
                        : fmt::format("{} is mounted at '{}': it is part of the running system.", u.node, u.where));
            } else {
                add("device-in-use", Verdict::halt,
                    fmt::format("{} is mounted at '{}': unmount it first (umount '{}').", u.node, u.where, u.where));
            }
        }
    }

    void serial() {
        if (d.serial.empty())
            add("device-serial-missing", Verdict::mind,
                fmt::format(
                    "{} gives no serial number; agree by its size in bytes, and make sure that no second device "
                    "of this size is plugged in.",
                    d.path));
        else if (d.bus == Bus::usb)
            add("serial-of-reader", Verdict::mind,
                fmt::format("Over USB the serial number of {} is that of the stick or of the card reader; the card in "
                            "a reader has another.",
                            d.path));
    }

    Judgement judge() {
        if (d.partition())
            add("device-partition", Verdict::halt,
                fmt::format("{} is a partition; the whole card is /dev/{}.", d.path, d.whole));
        kind();
        taken_by_family();
        size();
        if (d.read_only)
            add("device-read-only-medium", Verdict::halt,
                fmt::format("{} is write-protected: look at the card's slider.", d.path));
        used();
        serial();
        return std::move(out);
    }
};

}  // namespace

Judgement may_be_erased(const FoundDevice& device, const family::CardRule* rule) {
    return Judge{device, rule, {}}.judge();
}

}  // namespace fettle::card
