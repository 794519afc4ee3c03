// Real cards: which device is meant, what is on it, and whether somebody agrees to lose that.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "fettle/card/lay_device.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

// True when the path leads to a block device (also by a link such as those under /dev/disk).
// A name among the system's devices (below /dev, links followed), whether or not something has it. /dev/shm is left
// out: there the system keeps files in memory on purpose.
bool is_among_devices(const std::string& path);
bool is_block_device(const std::string& path);

// The device a path stands for, as the system describes it. bad_input "device-not-known" when it is none.
Result<card::FoundDevice> device_named(const std::string& path);

// "32.0 GB (29.8 GiB)": systems count by powers of two, cards are sold by powers of ten. "no medium" without one.
std::string size_words(const card::FoundDevice& device);

struct EraseQuestion {
    card::FoundDevice device;
    std::vector<std::string> on_it;  // what would be lost, in words
    Judgement known;                 // what is to be minded of this device
    std::string purpose;             // what it would be erased for: "to lay 27.3.118"

    const char* to_type() const;  // what a person types the end of: "serial number", "size in bytes"
};

// How somebody agrees: `serial` is the whole of it, said beforehand; else `ask` shows the question to a person and
// gives back what was typed, at least its last four characters. Without both nobody agrees.
struct EraseConsent {
    std::string serial;
    std::function<std::string(const EraseQuestion&)> ask;
};

// ok when somebody agreed. Usage errors "erase-not-agreed", "erase-serial-differs".
Status agree_to_erase(const EraseQuestion& question, const EraseConsent& consent);

// What is on the device now, as a question to whoever is about to lose it.
Result<EraseQuestion> erase_question(const card::FoundDevice& device, Judgement known, std::string purpose);

// Every device of this machine and whether it may be a card.
struct DeviceList {
    struct Device {
        card::FoundDevice device;
        Judgement judgement;  // halt: it may not be erased

        bool usable() const { return judgement.verdict() != Verdict::halt; }
    };
    std::vector<Device> devices;
    std::string family;  // by what its boxes take; empty: none was named
};
Result<DeviceList> list_devices(const Workshop& shop, const std::string& family);

}  // namespace fettle::workshop
