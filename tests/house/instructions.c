/*
 * Counts the instructions that a guest program executes under qemu-user and prints the number at its end, on stderr.
 *
 *   gcc -shared -fPIC -O2 -o instructions.so instructions.c && qemu-aarch64 -plugin ./instructions.so PROGRAM
 *
 * The first version of QEMU's plugin interface is declared here by hand, because Debian ships no header of it; QEMU 4.2
 * to 8.2 accept it ("QEMU TCG Plugins" in QEMU's manual). A block that an exception ends early counts as whole.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

typedef uint64_t qemu_plugin_id_t;
struct qemu_plugin_tb;

typedef void translated(qemu_plugin_id_t id, struct qemu_plugin_tb *block);
typedef void ended(qemu_plugin_id_t id, void *data);

void qemu_plugin_register_vcpu_tb_trans_cb(qemu_plugin_id_t id, translated *call);
void qemu_plugin_register_vcpu_tb_exec_inline(struct qemu_plugin_tb *block, int add, void *to, uint64_t what);
size_t qemu_plugin_tb_n_insns(const struct qemu_plugin_tb *block);
void qemu_plugin_register_atexit_cb(qemu_plugin_id_t id, ended *call, void *data);

#define EXPORT __attribute__((visibility("default")))

enum { ADD_U64 = 0 };

EXPORT int qemu_plugin_version = 1;

static uint64_t executed;

static void count(qemu_plugin_id_t id, struct qemu_plugin_tb *block)
{
    (void)id;
    qemu_plugin_register_vcpu_tb_exec_inline(block, ADD_U64, &executed, qemu_plugin_tb_n_insns(block));
}

static void tell(qemu_plugin_id_t id, void *data)
{
    (void)id;
    (void)data;
    fprintf(stderr, "instructions %llu\n", (unsigned long long)executed);
}

EXPORT int qemu_plugin_install(qemu_plugin_id_t id, const void *info, int argc, char **argv)
{
    (void)info;
    (void)argc;
    (void)argv;
    qemu_plugin_register_vcpu_tb_trans_cb(id, count);
    qemu_plugin_register_atexit_cb(id, tell, NULL);
    return 0;
}
