// Which block devices of this machine may be a card, and what speaks against writing to each. Pure: everything comes
// from a SystemView. A device is chosen by its bus and card type; the removable flag is shown, and decides nothing by
// itself (a built-in reader says 0, a laptop's soldered memory sits on the same bus as an SD card).
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/card/system_view.h"
#include "fettle/family/family.h"

namespace fettle::card {

enum class Bus { sd, soldered, usb, sata, nvme, scsi, virtio, loop, mapped, memory, unknown };
std::string_view words(Bus b);  // "SD slot", "soldered memory (eMMC)", "USB", "NVMe", …

// Somebody who uses a device, one of its partitions, or what is built upon them.
struct Use {
    enum Kind { mounted, swap, held } kind = mounted;
    std::string node;     // "sdb1"
    std::string where;    // mount point, or who holds it ("dm-0")
    bool system = false;  // the running system needs it
};

struct FoundDevice {
    std::string name;       // "sdb"; texts from outside are printable and short
    std::string path;       // "/dev/sdb"
    std::string number;     // "8:16"
    std::string whole;      // of a partition: the device it is on ("sdb"); else empty
    std::string model;      // maker and model as the device gives them; may be empty
    std::string serial;     // may be empty
    std::string serial_of;  // what bears that serial: "the card", "the stick or reader"
    std::string card_type;  // SD slot: what the card says it is ("SD", "MMC", "SDIO"); else empty
    std::string sequence;   // changes whenever a medium is put in (disk sequence number); empty on older systems
    std::string backing;    // loop: the file behind it
    Bus bus = Bus::unknown;
    std::uint64_t size_bytes = 0;  // 0: no medium
    bool removable = false;
    bool read_only = false;
    bool rotating = false;
    std::vector<std::string> partitions;  // names
    std::vector<Use> uses;

    bool partition() const { return !whole.empty(); }
    // What a person types to agree to its erasure: the serial, or the size in bytes of a device that gives none.
    std::string to_agree() const;
};

// Every block device, partitions too, in the order of their names. What is damaged or hostile in the view makes a
// device unusable, never this function fail.
std::vector<FoundDevice> find_devices(const SystemView& view);

// All that speaks against erasing it, and what should be known: halt reasons `device-partition`,
// `device-is-a-disk`, `device-soldered`, `device-not-a-card`, `device-no-medium`, `device-read-only-medium`,
// `device-in-use`, `device-holds-system`, `card-too-large`, `card-too-small`, `device-kind-not-taken`; mind reasons
// `device-loop`, `device-kind-unclear`, `device-serial-missing`, `serial-of-reader`. `rule`: of the family, nullptr
// when none is known (then nothing above `most_without_rule` is taken).
inline constexpr std::uint64_t most_without_rule = std::uint64_t{128} << 30;
Judgement may_be_erased(const FoundDevice& device, const family::CardRule* rule);

// True for the text to_agree() as a whole, or (`last_characters`) for its last four characters or more; letters of
// either case.
bool agrees(const FoundDevice& device, std::string_view typed, bool last_characters);

// Does a text about a card ("owner's map card, serial 4C53-AB9") name this device: a word of it is its serial or the
// last four characters or more? False for a device without a serial.
bool named_in(const FoundDevice& device, std::string_view text);

}  // namespace fettle::card
