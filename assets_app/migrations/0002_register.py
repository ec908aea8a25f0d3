import assets_app.labels.models
import django.core.validators
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

from assets_app.record import triggers


def install(apps, schema_editor):
    triggers.install(schema_editor.connection)


def lift(apps, schema_editor):
    triggers.lift(schema_editor.connection)


class Migration(migrations.Migration):

    replaces = [('assets_app', '0002_record_only_grows'), ('assets_app', '0003_angle_of_a_finding'), ('assets_app', '0004_name_of_a_device_token'), ('assets_app', '0005_claim_of_an_import'), ('assets_app', '0006_heartbeats'), ('assets_app', '0007_labels_and_photo_marks'), ('assets_app', '0008_bolt_readings'), ('assets_app', '0009_positions_as_printed'), ('assets_app', '0010_lengths_on_photos')]

    initial = True

    dependencies = [
        ('assets_app', '0001_people'),
        # not the first of knox: its primary key changed on the way
        ('knox', '0009_extend_authtoken_field'),
    ]

    operations = [
        migrations.CreateModel(
            name='Heartbeat',
            fields=[
                ('name', models.CharField(help_text="a worker's node name, or beat", max_length=120, primary_key=True, serialize=False)),
                ('kind', models.CharField(choices=[('worker', 'worker'), ('beat', 'beat')], max_length=6)),
                ('beat_at', models.DateTimeField()),
            ],
            options={
                'indexes': [models.Index(fields=['kind', '-beat_at'], name='heartbeats_of_a_kind')],
            },
        ),
        migrations.CreateModel(
            name='Site',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('slug', models.SlugField(unique=True)),
                ('name', models.CharField(max_length=120)),
                ('time_zone', models.CharField(default='Europe/London', help_text="IANA name of the site's clock", max_length=64)),
                ('units', models.CharField(choices=[('metric', 'mm, kN, MPa'), ('us', 'in, kip, ksi')], default='metric', max_length=8)),
            ],
            options={
                'ordering': ['name'],
            },
        ),
        migrations.CreateModel(
            name='Asset',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='assets', to='assets_app.site')),
                ('tag', models.CharField(max_length=64)),
                ('name', models.CharField(max_length=160)),
                ('kind', models.CharField(choices=[('ride', 'ride'), ('trailer', 'trailer'), ('lift', 'lift'), ('crane', 'crane'), ('structure', 'structure')], max_length=16)),
                ('status', models.CharField(choices=[('in service', 'in service'), ('out of service', 'out of service'), ('retired', 'retired')], default='in service', max_length=16)),
                ('commissioned_on', models.DateField(blank=True, null=True)),
                ('consequence', models.CharField(choices=[('low', 'low'), ('high', 'high')], default='high', help_text="of a joint's failure; high if unknown", max_length=8)),
                ('place', models.CharField(blank=True, help_text='where on the site it stands', max_length=120)),
                ('replacement_value', models.DecimalField(blank=True, decimal_places=2, max_digits=14, null=True)),
                ('currency', models.CharField(default='GBP', max_length=3)),
                ('latitude', models.FloatField(blank=True, null=True)),
                ('longitude', models.FloatField(blank=True, null=True)),
                ('note', models.TextField(blank=True)),
            ],
            options={
                'ordering': ['tag'],
                'constraints': [models.UniqueConstraint(fields=('site', 'tag'), name='asset_tag_once_a_site')],
            },
        ),
        migrations.CreateModel(
            name='Member',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('asset', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='members', to='assets_app.asset')),
                ('tag', models.CharField(max_length=64)),
                ('name', models.CharField(blank=True, max_length=160)),
                ('section', models.CharField(blank=True, help_text='as written on the drawing, e.g. CHS 219.1x8', max_length=64)),
                ('steel_grade', models.CharField(blank=True, help_text='e.g. S355', max_length=32)),
                ('wall_mm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1e-06)])),
            ],
            options={
                'ordering': ['tag'],
                'constraints': [models.UniqueConstraint(fields=('asset', 'tag'), name='member_tag_once_an_asset')],
            },
        ),
        migrations.CreateModel(
            name='Joint',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('asset', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='joints', to='assets_app.asset')),
                ('member', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='joints', to='assets_app.member')),
                ('other_member', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='assets_app.member')),
                ('tag', models.CharField(max_length=64)),
                ('name', models.CharField(blank=True, max_length=160)),
                ('kind', models.CharField(choices=[('weld', 'welded'), ('bolted', 'bolted')], max_length=8)),
                ('load_path', models.CharField(choices=[('single', 'single load path'), ('multiple', 'more than one load path'), ('unknown', 'load path unknown (treated as single)')], default='unknown', max_length=10)),
                ('access', models.CharField(blank=True, choices=[('easy', 'easy'), ('moderate', 'moderate'), ('difficult', 'difficult')], help_text='empty: not known', max_length=10)),
                ('position', models.CharField(blank=True, help_text='in words: where on the asset', max_length=120)),
                ('active', models.BooleanField(default=True)),
                ('installed_on', models.DateField(blank=True, help_text='empty: with the asset', null=True)),
                ('note', models.TextField(blank=True)),
            ],
            options={
                'ordering': ['tag'],
                'indexes': [models.Index(fields=['tag', 'id'], name='joint_by_tag')],
                'constraints': [models.UniqueConstraint(fields=('asset', 'tag'), name='joint_tag_once_an_asset')],
            },
        ),
        migrations.CreateModel(
            name='Inspection',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('joint', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='inspections', to='assets_app.joint')),
                ('method', models.CharField(choices=[('VT', 'visual (VT)'), ('PT', 'penetrant (PT)'), ('MT', 'magnetic particle (MT)'), ('UT', 'ultrasonic (UT)'), ('ET', 'eddy current (ET)'), ('RT', 'radiographic (RT)'), ('BC', 'bolt check (BC)')], max_length=2)),
                ('inspected_at', models.DateTimeField()),
                ('inspected_on', models.DateField(help_text="the day on the site's clock")),
                ('inspector', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='inspections', to=settings.AUTH_USER_MODEL)),
                ('conditions', models.CharField(choices=[('good', 'good'), ('normal', 'normal'), ('poor', 'poor')], default='normal', max_length=8)),
                ('result', models.CharField(choices=[('accepted', 'nothing beyond the limits'), ('findings', 'findings recorded'), ('incomplete', 'could not be completed (does not count as a look)')], max_length=12)),
                ('counter_total', models.FloatField(blank=True, help_text="duty counter's total on that day, if known", null=True)),
                ('note', models.TextField(blank=True)),
                ('corrects', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='corrections', to='assets_app.inspection')),
                ('recorded_at', models.DateTimeField()),
            ],
            options={
                'ordering': ['-inspected_at', '-id'],
                'indexes': [models.Index(fields=['joint', 'method', '-inspected_on'], name='looks_of_a_joint')],
            },
        ),
        migrations.CreateModel(
            name='BoltReading',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('inspection', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='bolt_readings', to='assets_app.inspection')),
                ('number', models.PositiveIntegerField(help_text='of the bolt, from 1, as on the drawing')),
                ('state', models.CharField(choices=[('ok', 'ok'), ('loose', 'loose'), ('missing', 'missing'), ('broken', 'broken')], help_text='as found', max_length=8)),
                ('torque_found_nm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0)])),
                ('torque_left_nm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0)])),
                ('tension_found_kn', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0)])),
                ('tension_left_kn', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0)])),
                ('witness', models.CharField(blank=True, choices=[('in line', 'in line'), ('moved', 'moved'), ('none', 'no mark')], help_text='witness mark as found', max_length=8)),
                ('as_typed', models.CharField(blank=True, help_text='the figures as the person wrote them', max_length=120)),
            ],
            options={
                'ordering': ['inspection', 'number'],
                'constraints': [models.UniqueConstraint(fields=('inspection', 'number'), name='bolt_read_once_a_look')],
            },
        ),
        migrations.CreateModel(
            name='Finding',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('joint', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='findings', to='assets_app.joint')),
                ('inspection', models.ForeignKey(help_text='where it was first seen', on_delete=django.db.models.deletion.PROTECT, related_name='findings', to='assets_app.inspection')),
                ('kind', models.CharField(help_text='ISO 6520-1 number, or missing, broken, loose, gap, movement', max_length=24)),
                ('place', models.CharField(blank=True, help_text='toe, root, throat, parent metal, bolt number', max_length=24)),
                ('clock_deg', models.FloatField(blank=True, help_text='on a tube: degrees clockwise from the top', null=True)),
                ('position_mm', models.FloatField(blank=True, help_text='on a plate: from the datum end', null=True)),
                ('bolts', models.JSONField(blank=True, default=list, help_text='numbers of the bolts concerned, from 1')),
                ('severity', models.CharField(choices=[('record', 'record'), ('watch', 'watch'), ('plan repair', 'plan repair'), ('repair before use', 'repair before use'), ('hold now', 'hold now')], max_length=20)),
                ('severity_computed', models.CharField(choices=[('record', 'record'), ('watch', 'watch'), ('plan repair', 'plan repair'), ('repair before use', 'repair before use'), ('hold now', 'hold now')], help_text='by the rule table', max_length=20)),
                ('severity_reason', models.TextField(help_text='what the rule table said, or why a person changed it')),
                ('accepted', models.BooleanField(help_text='against the acceptance limit; empty: could not be judged', null=True)),
                ('acceptance_note', models.TextField(blank=True, help_text='limit, clause, by how much out, or what is missing')),
                ('state', models.CharField(choices=[('open', 'open'), ('assessed', 'open, assessed by an engineer'), ('repaired', 'repaired'), ('closed', 'closed without repair')], default='open', max_length=10)),
                ('note', models.TextField(blank=True)),
                ('found_on', models.DateField()),
                ('closed_on', models.DateField(blank=True, null=True)),
            ],
            options={
                'ordering': ['-found_on', '-id'],
                'indexes': [models.Index(fields=['joint', 'state'], name='findings_of_a_joint'), models.Index(condition=models.Q(('closed_on', None)), fields=['severity', 'id'], name='findings_open_by_severity')],
            },
        ),
        migrations.CreateModel(
            name='Evidence',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('inspection', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='evidence', to='assets_app.inspection')),
                ('finding', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='evidence', to='assets_app.finding')),
                ('joint', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='evidence', to='assets_app.joint')),
                ('original_sha256', models.CharField(max_length=64)),
                ('original', models.FileField(upload_to='evidence/original/%Y/%m/')),
                ('view', models.ImageField(height_field='height', upload_to='evidence/view/%Y/%m/', width_field='width')),
                ('width', models.PositiveIntegerField(default=0)),
                ('height', models.PositiveIntegerField(default=0)),
                ('taken_at', models.DateTimeField(blank=True, null=True)),
                ('added_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('added_at', models.DateTimeField()),
                ('caption', models.CharField(blank=True, max_length=160)),
            ],
            options={
                'ordering': ['added_at', 'id'],
            },
        ),
        migrations.CreateModel(
            name='PhotoMark',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('evidence', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='marks', to='assets_app.evidence')),
                ('shape', models.CharField(choices=[('arrow', 'arrow'), ('ring', 'ring'), ('length', 'length'), ('text', 'words')], max_length=6)),
                ('x', models.FloatField(help_text='tip of the arrow, centre of the ring, one end of the length, start of the words')),
                ('y', models.FloatField()),
                ('x2', models.FloatField(blank=True, help_text='tail of the arrow, a point on the ring', null=True)),
                ('y2', models.FloatField(blank=True, null=True)),
                ('text', models.CharField(blank=True, help_text='words; of a length the size as the person typed it', max_length=80)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('at', models.DateTimeField()),
            ],
            options={
                'ordering': ['id'],
                'constraints': [models.CheckConstraint(condition=models.Q(('x__gte', 0), ('x__lte', 1), ('y__gte', 0), ('y__lte', 1), models.Q(('x2', None), models.Q(('x2__gte', 0), ('x2__lte', 1)), _connector='OR'), models.Q(('y2', None), models.Q(('y2__gte', 0), ('y2__lte', 1)), _connector='OR')), name='mark_inside_its_photo'), models.CheckConstraint(condition=models.Q(models.Q(('shape', 'text'), _negated=True), models.Q(('text', ''), _negated=True), _connector='OR'), name='mark_of_words_has_words'), models.CheckConstraint(condition=models.Q(models.Q(('shape', 'length'), _negated=True), models.Q(('text', ''), _negated=True), _connector='OR'), name='mark_of_length_has_its_size')],
            },
        ),
        migrations.CreateModel(
            name='StruckMark',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('mark', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='struck', to='assets_app.photomark')),
                ('reason', models.CharField(max_length=200)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('at', models.DateTimeField()),
            ],
        ),
        migrations.CreateModel(
            name='FindingSize',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('finding', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sizes', to='assets_app.finding')),
                ('inspection', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sizes', to='assets_app.inspection')),
                ('measured_on', models.DateField()),
                ('length_mm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0)])),
                ('depth_mm', models.FloatField(blank=True, help_text='depth, or what the kind is measured by: height, width, diameter, shortfall, gap', null=True, validators=[django.core.validators.MinValueValidator(0)])),
                ('angle_deg', models.FloatField(blank=True, help_text='kinds that are measured by an angle', null=True)),
                ('counter_total', models.FloatField(blank=True, null=True)),
                ('as_typed', models.CharField(blank=True, help_text='the size as the person wrote it', max_length=64)),
            ],
            options={
                'ordering': ['measured_on', 'id'],
                'constraints': [models.UniqueConstraint(fields=('finding', 'inspection'), name='size_once_a_look')],
            },
        ),
        migrations.CreateModel(
            name='Assessment',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('joint', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='assessments', to='assets_app.joint')),
                ('finding', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='assessments', to='assets_app.finding')),
                ('severity', models.CharField(blank=True, choices=[('record', 'record'), ('watch', 'watch'), ('plan repair', 'plan repair'), ('repair before use', 'repair before use'), ('hold now', 'hold now')], help_text='given to the finding', max_length=20)),
                ('ends_on', models.DateField()),
                ('reason', models.TextField()),
                ('signed_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='assessments', to=settings.AUTH_USER_MODEL)),
                ('signed_at', models.DateTimeField()),
            ],
            options={
                'ordering': ['-signed_at', '-id'],
            },
        ),
        migrations.CreateModel(
            name='JointLabel',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('joint', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='labels', to='assets_app.joint')),
                ('token', models.CharField(default=assets_app.labels.models.new_token, max_length=32, unique=True)),
                ('issued_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('issued_at', models.DateTimeField()),
                ('withdrawn_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('withdrawn_at', models.DateTimeField(blank=True, null=True)),
                ('withdrawn_why', models.CharField(blank=True, max_length=200)),
            ],
            options={
                'ordering': ['-id'],
                'constraints': [models.UniqueConstraint(condition=models.Q(('withdrawn_at', None)), fields=('joint',), name='one_label_a_joint')],
            },
        ),
        migrations.CreateModel(
            name='Role',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='roles', to=settings.AUTH_USER_MODEL)),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='roles', to='assets_app.site')),
                ('name', models.CharField(choices=[('planner', 'planner'), ('technician', 'technician'), ('inspector', 'inspector'), ('engineer', 'engineer'), ('manager', 'manager'), ('auditor', 'auditor')], max_length=12)),
                ('release_authority', models.BooleanField(default=False, help_text='named authority who may lift a hold here')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('person', 'site', 'name'), name='role_once_a_site')],
            },
        ),
        migrations.CreateModel(
            name='Qualification',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='qualifications', to=settings.AUTH_USER_MODEL)),
                ('kind', models.CharField(choices=[('ndt', 'non-destructive testing'), ('welder', 'welder'), ('engineer', 'engineer')], max_length=10)),
                ('method', models.CharField(blank=True, help_text='NDT method, e.g. MT', max_length=4)),
                ('level', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('process', models.CharField(blank=True, help_text='ISO 4063 number', max_length=8)),
                ('welding_position', models.CharField(blank=True, help_text='every one printed on the certificate, by its ISO 6947 symbol: PA PB PF', max_length=80)),
                ('certificate', models.CharField(blank=True, max_length=64)),
                ('issued_on', models.DateField()),
                ('expires_on', models.DateField()),
                ('last_used_on', models.DateField(blank=True, help_text="a welder's continuity counts from here", null=True)),
            ],
            options={
                'ordering': ['expires_on'],
            },
        ),
        migrations.CreateModel(
            name='DeviceToken',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('token', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='device', to=settings.KNOX_TOKEN_MODEL)),
                ('name', models.CharField(max_length=80)),
            ],
            options={
                'ordering': ['-pk'],
            },
        ),
        migrations.CreateModel(
            name='RecordChain',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('site', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='chain', to='assets_app.site')),
                ('head_sequence', models.PositiveBigIntegerField(default=0)),
                ('head_hash', models.CharField(blank=True, max_length=64)),
            ],
        ),
        migrations.CreateModel(
            name='RecordEntry',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='record', to='assets_app.site')),
                ('sequence', models.PositiveBigIntegerField()),
                ('at', models.DateTimeField()),
                ('deed', models.CharField(help_text='e.g. inspection.recorded, hold.released', max_length=48)),
                ('actor', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('actor_name', models.CharField(help_text='as it stood when signed', max_length=160)),
                ('subject_kind', models.CharField(max_length=32)),
                ('subject_id', models.BigIntegerField()),
                ('asset', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='assets_app.asset')),
                ('joint', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='record', to='assets_app.joint')),
                ('content', models.TextField()),
                ('previous_hash', models.CharField(blank=True, max_length=64)),
                ('hash', models.CharField(max_length=64)),
            ],
            options={
                'ordering': ['site_id', 'sequence'],
                'indexes': [models.Index(fields=['joint', '-sequence'], name='record_by_joint'), models.Index(fields=['subject_kind', 'subject_id'], name='record_by_subject')],
                'constraints': [models.UniqueConstraint(fields=('site', 'sequence'), name='record_sequence_once_a_site')],
            },
        ),
        migrations.CreateModel(
            name='IdempotencyKey',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('person', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, to=settings.AUTH_USER_MODEL)),
                ('key', models.CharField(max_length=80)),
                ('request_hash', models.CharField(max_length=64)),
                ('status', models.PositiveSmallIntegerField(default=0, help_text='0 while the first request is still at work')),
                ('body', models.JSONField(null=True)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('person', 'key'), name='idempotency_key_once_a_person')],
            },
        ),
        migrations.CreateModel(
            name='Weld',
            fields=[
                ('joint', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='weld', serialize=False, to='assets_app.joint')),
                ('joint_type', models.CharField(blank=True, choices=[('butt', 'butt'), ('tee', 'tee'), ('cruciform', 'cruciform'), ('lap', 'lap'), ('corner', 'corner'), ('attachment', 'attachment')], max_length=16)),
                ('weld_type', models.CharField(blank=True, choices=[('fillet', 'fillet'), ('full penetration', 'butt, full penetration'), ('partial penetration', 'butt, partial penetration')], max_length=20)),
                ('leg_mm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1e-06)])),
                ('throat_mm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1e-06)])),
                ('penetration_mm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(0)])),
                ('length_mm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1e-06)])),
                ('process', models.CharField(blank=True, help_text='ISO 4063 number, e.g. 111, 135, 141', max_length=8)),
                ('wall_mm', models.FloatField(blank=True, help_text='of the part where the toe cracks', null=True, validators=[django.core.validators.MinValueValidator(1e-06)])),
                ('other_wall_mm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1e-06)])),
                ('tube_diameter_mm', models.FloatField(blank=True, help_text='empty: a plate', null=True, validators=[django.core.validators.MinValueValidator(1e-06)])),
                ('attachment_mm', models.FloatField(blank=True, help_text='length of the welded-on part along the stress, weld toe to toe', null=True, validators=[django.core.validators.MinValueValidator(1e-06)])),
                ('detail', models.CharField(blank=True, help_text='row id of the detail catalogue', max_length=64)),
                ('detail_category_mpa', models.FloatField(blank=True, help_text="overrides the catalogue's", null=True, validators=[django.core.validators.MinValueValidator(1e-06)])),
                ('quality_level', models.CharField(blank=True, help_text='ISO 5817: B, C or D', max_length=1)),
            ],
        ),
        migrations.CreateModel(
            name='BoltGroup',
            fields=[
                ('joint', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, primary_key=True, related_name='bolt_group', serialize=False, to='assets_app.joint')),
                ('bolt_count', models.PositiveIntegerField(blank=True, null=True)),
                ('pattern', models.CharField(blank=True, choices=[('ring', 'ring'), ('grid', 'grid'), ('custom', 'by coordinates')], max_length=8)),
                ('ring_diameter_mm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1e-06)])),
                ('rows', models.PositiveIntegerField(blank=True, null=True)),
                ('row_pitch_mm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1e-06)])),
                ('column_pitch_mm', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1e-06)])),
                ('positions', models.JSONField(blank=True, default=list, help_text='custom pattern: [[x, y], ...] in mm')),
                ('size', models.CharField(blank=True, help_text='e.g. M20', max_length=8)),
                ('property_class', models.CharField(blank=True, help_text='e.g. 8.8', max_length=8)),
                ('preload_kn', models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1e-06)])),
                ('tightening', models.CharField(blank=True, choices=[('torque', 'torque'), ('combined', 'torque and turn'), ('tension', 'tension'), ('snug', 'snug, not preloaded')], max_length=10)),
                ('detail', models.CharField(blank=True, help_text='row id of the detail catalogue', max_length=64)),
            ],
        ),
        migrations.CreateModel(
            name='RegisterImport',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('site', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, to='assets_app.site')),
                ('file_name', models.CharField(max_length=255)),
                ('file', models.FileField(upload_to='imports/%Y/%m/')),
                ('file_sha256', models.CharField(max_length=64)),
                ('mapping', models.JSONField(default=dict)),
                ('dry_run', models.BooleanField(default=True)),
                ('state', models.CharField(choices=[('waiting', 'waiting'), ('running', 'running'), ('checked', 'checked, nothing written'), ('done', 'done'), ('refused', 'refused, nothing written'), ('failed', 'failed, nothing written')], default='waiting', max_length=10)),
                ('rows_total', models.PositiveIntegerField(default=0)),
                ('rows_done', models.PositiveIntegerField(default=0)),
                ('report', models.JSONField(default=dict, help_text='counts and the errors, each with row, column, value, what to do')),
                ('started_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('started_at', models.DateTimeField()),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('claimed_at', models.DateTimeField(blank=True, help_text='when the run at work began', null=True)),
                ('claim', models.CharField(blank=True, help_text='names the run at work; another run changes it', max_length=32)),
                ('attempts', models.PositiveSmallIntegerField(default=0)),
            ],
            options={
                'ordering': ['-id'],
                'indexes': [models.Index(condition=models.Q(('state__in', ['waiting', 'running'])), fields=['id'], name='import_to_work_off')],
                'constraints': [models.CheckConstraint(condition=models.Q(('rows_done__lte', models.F('rows_total'))), name='import_done_within_total')],
            },
        ),
        migrations.RunPython(install, lift),  # the record only grows
    ]
