"""Routines of a user's own for matrices: a hurried one, and others with one trait each."""

OWN = '''"""Routines of our own."""


def hurried(controller, row):
    yield from controller.rapid(x=-600.0, y=-200.0, frame="machine")
    yield from controller.rapid(z=-340.0, frame="machine")
    touch = yield from controller.touch(z=-400.0, feed_mm_per_min=25.0)
    controller.store_length(row, touch.z - controller.record().reference_z_mm)
    yield from controller.rapid(z=0.0, frame="machine")


def patient(controller, row):
    controller.require_proved_input()
    yield from controller.rapid(x=-600.0, y=-200.0, frame="machine")
    yield from controller.rapid(z=-340.0, frame="machine")
    last = None
    for _ in range(20):
        touch = yield from controller.touch(z=-362.0, feed_mm_per_min=100.0)
        if last is not None and abs(touch.z - last) < 0.003:
            controller.store_length(row, touch.z - controller.record().reference_z_mm)
            yield from controller.rapid(z=0.0, frame="machine")
            return
        last = touch.z
        yield from controller.rapid(z=touch.z + 2.0, frame="machine")
    controller.alarm("not-agreeing", "no two touches agree")


def stepwise(controller, row, looks):
    record = controller.record()
    if looks:
        controller.require_proved_input()
        controller.require_quiet_input()
    yield from controller.rapid(x=record.x_mm, y=record.y_mm, frame="machine")
    yield from controller.rapid(z=-340.0, frame="machine")
    rough = yield from controller.touch(z=-380.0, feed_mm_per_min=200.0)
    yield from controller.rapid(z=rough.z + 2.0, frame="machine")
    fine = yield from controller.touch(z=rough.z - 2.0, feed_mm_per_min=25.0)
    if abs(fine.z - rough.z) > 0.1:
        controller.alarm("not-agreeing", "rough and fine touch lie apart")
    controller.store_length(row, fine.z - controller.require_reference())
    yield from controller.rapid(z=0.0, frame="machine")


def fearful(controller, row):
    controller.alarm("program", "better not")
    yield


def endless(controller, row):
    while True:
        yield from controller.dwell(1000.0)


def mistaken(controller, row):
    yield from controller.rapid(z=0.0, frame="machine")
    raise ValueError("a slip of the pen")
'''
